create table paths (
  name      text    primary key,
  delivered integer,
  failed    integer,
  error     text    not null default ''
) strict;
insert into paths (name, delivered) select path, max(done) from outbox where done is not null and error = '' group by path;

create table subscriptions (
  endpoint text    primary key,
  path     text    not null,
  public   blob    not null,
  auth     blob    not null,
  made     integer not null,
  who      text    not null,
  browser  text    not null
) strict;
create index subscriptions_path on subscriptions (path);
