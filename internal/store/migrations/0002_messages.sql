create table to_tell (
  id   integer primary key autoincrement,
  body text not null
) strict;

create table outbox (
  id      text    primary key,
  made    integer not null,
  path    text    not null,
  body    text    not null,
  tries   integer not null default 0,
  failing integer,
  error   text    not null default '',
  done    integer
) strict;
create index outbox_waiting on outbox (path) where done is null;
create index outbox_done on outbox (done) where done is not null;
