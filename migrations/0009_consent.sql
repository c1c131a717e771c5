-- Consent with its proof: who said what, when, by which way, for which number, and who decided; and
-- the texts that consent itself asks for.

DROP VIEW sendable;
DROP VIEW consent_now;

-- Append-only.
CREATE TABLE consent_line (
    id TEXT PRIMARY KEY,
    -- What the line came from; the same thing seen again adds nothing.
    source_key TEXT NOT NULL UNIQUE,
    person TEXT NOT NULL,
    -- agreed: by the book. hold: a reply that may be a STOP. asked: to be said anew after a long
    -- silence. gone: the number was refused for good. unproven: the book has a new number and no new
    -- consent.
    state TEXT NOT NULL CHECK (state IN
        ('agreed', 'start', 'stop', 'hold', 'asked', 'gone', 'unproven')),
    at TIMESTAMPTZ NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    how TEXT NOT NULL,
    wording TEXT NOT NULL,
    -- The number or address it was given for, or came from.
    route TEXT,
    address TEXT,
    -- Who decided, where it was not the person alone.
    decided_by TEXT
);
INSERT INTO consent_line (id, source_key, person, state, at, recorded_at, how, wording)
SELECT id, id, person, CASE WHEN how LIKE 'maybe stop%' THEN 'hold' ELSE state END,
    at, at, how, wording
FROM consent;
DROP TABLE consent;
ALTER TABLE consent_line RENAME TO consent;
CREATE INDEX consent_by_person ON consent (person, at);

-- Texts that consent asks for, each once: the welcome of a number, the question after a long
-- silence, the confirmation of a STOP.
CREATE TABLE consent_text (
    outbox_id TEXT PRIMARY KEY REFERENCES outbox (id),
    purpose TEXT NOT NULL CHECK (purpose IN ('welcome', 'question', 'confirmation')),
    person TEXT NOT NULL,
    -- The number, or the line of the ledger that stood before.
    about TEXT NOT NULL,
    UNIQUE (purpose, person, about)
);

-- The latest word on each person.
CREATE VIEW consent_now AS
SELECT id, person, state, at, recorded_at, how, wording, route, address, decided_by
FROM consent
WHERE state <> 'unproven' AND NOT EXISTS (
    SELECT 1 FROM consent later
    WHERE later.person = consent.person AND later.state <> 'unproven'
        AND (later.at, later.id) > (consent.at, consent.id)
);

-- All that stands against texts to a person: whatever no later word has lifted.
CREATE VIEW consent_block AS
SELECT id, person, state, at, recorded_at, how, wording, route, address, decided_by
FROM consent
WHERE state IN ('stop', 'hold', 'asked', 'gone') AND NOT EXISTS (
    SELECT 1 FROM consent later
    WHERE later.person = consent.person AND later.state IN ('agreed', 'start')
        AND (later.at, later.id) > (consent.at, consent.id)
);

-- Texts that may still go, and from when on. Nothing goes after STOP but its confirmation.
CREATE VIEW sendable AS
SELECT id, route, urgency, expires_at,
    CASE WHEN state = 'sending' THEN lease_until ELSE due_at END AS ready_at
FROM outbox
WHERE state IN ('waiting', 'sending')
    AND (kind = 'stop-confirmation' OR NOT EXISTS (
        SELECT 1 FROM consent_block
        WHERE consent_block.person = outbox.person
            AND (consent_block.state IN ('stop', 'hold')
                OR (consent_block.state = 'gone' AND consent_block.route = outbox.route)
                OR (consent_block.state = 'asked' AND outbox.kind = 'notice'
                    AND outbox.id NOT IN (
                        SELECT outbox_id FROM consent_text WHERE purpose = 'question')))
    ));
