create table journal (
  seq      integer primary key,
  lot      text    not null,
  kind     text    not null,
  at       integer not null,
  entered  integer not null,
  who      text    not null,
  auth     text    not null,
  body     text    not null,
  corrects integer not null,
  reason   text    not null,
  prev     blob    not null,
  hash     blob    not null
) strict;
create index journal_by_lot on journal (lot, seq);
create index journal_by_kind on journal (kind, seq);
create index journal_by_time on journal (at, seq);

create table seals (
  seq      integer primary key,
  probe    text    not null,
  hour     integer not null,
  count    integer not null,
  min      real,
  max      real,
  digest   blob    not null,
  through  integer not null,
  made     integer not null,
  replaces integer not null,
  prev     blob    not null,
  hash     blob    not null
) strict;
create index seals_by_probe on seals (probe, hour, seq);

create table checkpoints (
  id        integer primary key,
  at        integer not null,
  seq       integer not null,
  head      blob    not null,
  seal      integer not null,
  seals     blob    not null,
  public    blob    not null,
  signature blob    not null
) strict;

create trigger journal_stay before delete on journal begin select raise(abort, 'the journal is never shortened'); end;
create trigger journal_stand before update on journal begin select raise(abort, 'the journal is never changed'); end;
create trigger journal_grows before insert on journal when new.seq <> (select coalesce(max(seq), 0) + 1 from journal)
  begin select raise(abort, 'the journal grows by one entry at its end'); end;
create trigger seals_stay before delete on seals begin select raise(abort, 'seals are never removed'); end;
create trigger seals_stand before update on seals begin select raise(abort, 'seals are never changed'); end;
create trigger seals_grow before insert on seals when new.seq <> (select coalesce(max(seq), 0) + 1 from seals)
  begin select raise(abort, 'seals are added at their end'); end;
create trigger checkpoints_stay before delete on checkpoints begin select raise(abort, 'checkpoints are never removed'); end;
create trigger checkpoints_stand before update on checkpoints begin select raise(abort, 'checkpoints are never changed'); end;
