-- What happened to the fields, and what the clocks made of it.
-- One text for SQLite and PostgreSQL: ids are ours, JSON is TEXT, instants come from the service.

CREATE TABLE journal (
    id TEXT PRIMARY KEY,
    -- What the entry came from; a replay brings the same key and adds nothing.
    source_key TEXT NOT NULL UNIQUE,
    field TEXT NOT NULL,
    happened_on DATE NOT NULL,
    event TEXT NOT NULL,
    said_by TEXT NOT NULL,
    via TEXT NOT NULL CHECK (via IN ('sms', 'command')),
    note TEXT,
    created_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX journal_by_field ON journal (field, happened_on);

CREATE TABLE season_day (
    field TEXT NOT NULL,
    day DATE NOT NULL,
    body TEXT NOT NULL,
    computed_at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (field, day)
);
