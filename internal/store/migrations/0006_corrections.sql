create index journal_by_correction on journal (lot, corrects);
