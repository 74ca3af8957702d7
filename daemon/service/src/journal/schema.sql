-- The journal, version 1. What happened at the table, and nothing else.
--
-- One file, journal.db, in the state folder; beside it journal.db-wal and -shm (SQLite's
-- write-ahead log: they belong to it, never copy one without the others) and journal.lock (held
-- by the panel that writes).
--
-- Rows are added and never changed: triggers refuse anything else.
--
-- When is a row visible, and when is it safe?
--   * An event that the machine waits for ("durable": every stop, latch, start of a firing) is
--     committed with a full sync at once, with all events before it. Only then is the machine
--     told. It survives a power cut.
--   * All others are committed together at most 100 ms after the first of them. They survive the
--     death of the panel from then on; a power cut may take those that came after the last full
--     sync.
--   * Nothing is ever half there: a commit is whole or absent.
--
-- This is version 1. Version 2 adds to `start` the column `boot`: the run of the operating system. A
-- start that did not end in order, followed by one in another run of the system, may have lost rows:
-- the event `power-cut` is then the first row of the new start.
--
-- Version 3 adds the table `checkpoint`: what follows from all rows up to one, the last two of them, so
-- that a start need not read every row. They tell nothing that the rows do not, and may be thrown away.
--
-- Version 4 adds the table `retention`: how far old rows were removed by the rule that stands in
-- `retention.rs` (what tells of a stop stays longer), and lets no other row be removed.
--
-- Version 5 adds to `event` the column `unsure`: 1 where the wall time is not to be believed, for the board has no
-- clock chip and the network had not set its clock, or it was never set.
--
-- `PRAGMA user_version` holds the version of this file, `PRAGMA application_id` tells that the
-- file is ours (0x53434C52, "SCLR").

-- A row for every start of the panel, so that restarts, crashes and jumps of the wall clock show.
CREATE TABLE start (
    start   INTEGER PRIMARY KEY,   -- counts from 1
    wall    TEXT NOT NULL,         -- RFC 3339, UTC
    version TEXT NOT NULL,         -- of the panel
    ended   TEXT                   -- wall time of an orderly end; NULL: it runs, or it was killed
) STRICT;

-- Everything that happened, oldest first.
CREATE TABLE event (
    seq      INTEGER PRIMARY KEY AUTOINCREMENT,
    start    INTEGER NOT NULL REFERENCES start (start),
    run      INTEGER,              -- the run it belongs to; NULL: none
    clock_us INTEGER NOT NULL,     -- the panel's one clock (in practice the table's), microseconds
                                   -- since it started: durations are told by this
    wall     TEXT NOT NULL,        -- RFC 3339, UTC: a label for people, it may jump
    id       INTEGER NOT NULL,     -- number in the catalogue: never used again for another meaning
    name     TEXT NOT NULL,        -- its name in the catalogue
    severity TEXT NOT NULL,        -- trace, normal, notice, stop, danger
    fields   TEXT NOT NULL,        -- the whole event as JSON: what a restart and a replay read
    says     TEXT NOT NULL         -- in words, as the panel of that day told it
) STRICT;

CREATE INDEX event_by_run ON event (run, seq) WHERE run IS NOT NULL;

-- Where events are missing, because the disk could not take them.
CREATE TABLE gap (
    start INTEGER NOT NULL REFERENCES start (start),
    after INTEGER NOT NULL,        -- the last event before the gap; 0: none
    wall  TEXT NOT NULL,           -- when the gap was written down
    lost  INTEGER NOT NULL,        -- how many events
    why   TEXT NOT NULL
) STRICT;

CREATE TRIGGER event_is_never_changed BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER event_is_never_removed BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER gap_is_never_changed BEFORE UPDATE ON gap
BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER gap_is_never_removed BEFORE DELETE ON gap
BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
