-- Windows of fields as they stand in an advisor's calendar. An event keeps its id over the season;
-- each change counts its sequence up, so that a calendar program takes it for the same one
-- (RFC 5545, 3.8.7.4).
CREATE TABLE calendar_event (
    advisor TEXT NOT NULL,
    uid TEXT NOT NULL,
    summary TEXT NOT NULL,
    details TEXT NOT NULL,
    starts_at TIMESTAMPTZ NOT NULL,
    ends_at TIMESTAMPTZ NOT NULL,
    sequence BIGINT NOT NULL,
    changed_at TIMESTAMPTZ NOT NULL,
    withdrawn BOOLEAN NOT NULL,
    PRIMARY KEY (advisor, uid)
);

-- The calendar that goes out with a digest.
ALTER TABLE digest ADD COLUMN calendar TEXT;

-- Who left a list of mail, or came back to it: a ledger, never edited.
CREATE TABLE list_word (
    id TEXT PRIMARY KEY,
    person TEXT NOT NULL,
    list TEXT NOT NULL,
    word TEXT NOT NULL CHECK (word IN ('leave', 'return')),
    at TIMESTAMPTZ NOT NULL,
    how TEXT NOT NULL
);
CREATE INDEX list_word_by_person ON list_word (person, list, at);
