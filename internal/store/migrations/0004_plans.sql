create table plans (
  id    integer primary key autoincrement,
  made  integer not null,
  who   text    not null,
  name  text    not null,
  serve integer not null,
  lot   text    not null,
  cook  integer not null,
  wish  text    not null,
  plan  text    not null
) strict;
create index plans_by_lot on plans (lot, id);
create index plans_by_cook on plans (cook, id);

create table formulations (
  id    integer primary key autoincrement,
  made  integer not null,
  who   text    not null,
  name  text    not null,
  sheet text
) strict;
create index formulations_by_name on formulations (name, id);
