-- What people were told on forecast weather and turned out otherwise.

-- One row for each time a notice that had gone out was corrected. The key is what keeps two
-- instances, or a restart, from correcting it twice.
CREATE TABLE correction (
    notice_id TEXT NOT NULL REFERENCES notice (id),
    -- 1 takes back or moves what was told; 2 says that what was taken back holds after all.
    number BIGINT NOT NULL CHECK (number IN (1, 2)),
    course TEXT NOT NULL CHECK (course IN ('gone', 'moved', 'back')),
    -- The evidence told before.
    was TEXT NOT NULL,
    outbox_id TEXT NOT NULL REFERENCES outbox (id),
    at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (notice_id, number),
    CHECK ((number = 2) = (course = 'back'))
);
CREATE INDEX correction_by_text ON correction (outbox_id);
