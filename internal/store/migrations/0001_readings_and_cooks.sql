create table probes (
  id   integer primary key,
  name text not null unique
) strict;

create table readings (
  probe      integer not null references probes (id),
  time       integer not null,
  seq        integer not null,
  celsius    real    not null,
  quality    integer not null,
  clock      integer not null,
  retained   integer not null,
  backlog    integer not null,
  delay      integer,
  device_seq integer not null,
  raw        text,
  primary key (probe, time)
) strict, without rowid;
create unique index readings_by_seq on readings (seq);
create index readings_retained on readings (probe, seq) where retained = 1 and clock = 1;

create table quarantine (
  id      integer primary key,
  time    integer not null,
  topic   text    not null,
  payload blob    not null,
  reason  text    not null
) strict;

create table cooks (
  id      integer primary key,
  created integer not null,
  started integer not null,
  ended   integer,
  body    text    not null
) strict;
create index cooks_running on cooks (id) where ended is null;

create table entries (
  id       integer primary key,
  cook     integer not null references cooks (id),
  time     integer not null,
  kind     text    not null,
  piece    text    not null,
  material text    not null,
  celsius  real,
  logged   integer not null,
  corrects integer references entries (id),
  withdraw integer not null,
  who      text    not null,
  note     text    not null
) strict;
create index entries_by_cook on entries (cook, id);
create unique index entries_corrected on entries (corrects) where corrects is not null;

create table amendments (
  id   integer primary key,
  cook integer not null references cooks (id),
  time integer not null,
  body text    not null
) strict;
create index amendments_by_cook on amendments (cook, id);

create table forecasts (
  cook  integer not null references cooks (id),
  piece text    not null,
  at    integer not null,
  json  text    not null,
  primary key (cook, piece, at)
) strict, without rowid;

create table alarms (
  alarm text primary key,
  state text not null,
  body  text not null
) strict, without rowid;

create table alarm_changes (
  id      integer primary key,
  alarm   text    not null,
  state   text    not null,
  changed integer not null,
  body    text    not null
) strict;
create index alarm_changes_by_time on alarm_changes (changed, id);

create table kept (
  key   text primary key,
  value blob not null
) strict, without rowid;

create trigger readings_stay before delete on readings begin select raise(abort, 'readings are never deleted'); end;
create trigger readings_stand before update on readings begin select raise(abort, 'readings are never changed'); end;
create trigger entries_stay before delete on entries begin select raise(abort, 'entries are never deleted'); end;
create trigger entries_stand before update on entries begin select raise(abort, 'entries are never changed'); end;
create trigger amendments_stay before delete on amendments begin select raise(abort, 'amendments are never deleted'); end;
create trigger amendments_stand before update on amendments begin select raise(abort, 'amendments are never changed'); end;
create trigger alarm_changes_stay before delete on alarm_changes begin select raise(abort, 'alarm changes are never deleted'); end;
create trigger alarm_changes_stand before update on alarm_changes begin select raise(abort, 'alarm changes are never changed'); end;
