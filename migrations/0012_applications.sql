-- Records of herbicide passes: what federal law wants on record of a restricted-use application.

-- One row for each pre or post pass of the journal. It stays when its entry is taken back.
CREATE TABLE application (
    id TEXT PRIMARY KEY,
    -- Id of the journal entry that it is the record of.
    entry_id TEXT NOT NULL UNIQUE,
    field TEXT NOT NULL,
    applied_on DATE NOT NULL,
    pass TEXT NOT NULL CHECK (pass IN ('pre', 'post')),
    -- What went on, product by product as far as the book knew them that day.
    parts TEXT NOT NULL,
    said_by TEXT NOT NULL,
    -- The person to be asked for what is missing; none when nobody wrote.
    asked TEXT,
    created_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX application_by_day ON application (applied_on);

-- Append-only; the latest row of an item is in force.
CREATE TABLE application_item (
    id TEXT PRIMARY KEY,
    application_id TEXT NOT NULL REFERENCES application (id),
    -- The part it is about; empty for what belongs to the whole pass.
    part TEXT NOT NULL,
    item TEXT NOT NULL,
    value TEXT NOT NULL,
    origin TEXT NOT NULL CHECK (origin IN ('book', 'reply', 'earlier-record', 'command')),
    said_by TEXT NOT NULL,
    at TIMESTAMPTZ NOT NULL
);
CREATE INDEX application_item_by_application ON application_item (application_id);

-- What was asked of whom; the key keeps a restart or a second instance from asking twice.
CREATE TABLE application_question (
    application_id TEXT NOT NULL REFERENCES application (id),
    part TEXT NOT NULL,
    item TEXT NOT NULL,
    person TEXT NOT NULL,
    asked_at TIMESTAMPTZ NOT NULL,
    -- When an answer could not be read and was helped.
    helped_at TIMESTAMPTZ,
    -- When the person put it off.
    put_off_at TIMESTAMPTZ,
    reminded_at TIMESTAMPTZ,
    PRIMARY KEY (application_id, part, item)
);
CREATE INDEX application_question_by_person ON application_question (person);
