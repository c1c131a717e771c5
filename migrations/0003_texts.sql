-- What is told to whom, what they answer, and what they agreed to.

CREATE TABLE notice (
    id TEXT PRIMARY KEY,
    field TEXT NOT NULL,
    topic TEXT NOT NULL,
    occasion DATE NOT NULL,
    version BIGINT NOT NULL CHECK (version >= 1),
    person TEXT NOT NULL,
    urgency TEXT NOT NULL CHECK (urgency IN ('digest', 'routine', 'urgent')),
    act_by DATE,
    expires_at TIMESTAMPTZ NOT NULL,
    provisional BOOLEAN NOT NULL,
    evidence TEXT NOT NULL,
    raised_at TIMESTAMPTZ NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('open', 'answered', 'expired', 'superseded')),
    closed_at TIMESTAMPTZ,
    closed_by TEXT,
    CHECK ((state = 'open') = (closed_at IS NULL)),
    UNIQUE (field, topic, occasion, version, person)
);
CREATE INDEX notice_by_person ON notice (person, state);

CREATE TABLE outbox (
    id TEXT PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('notice', 'reply', 'digest', 'stop-confirmation')),
    person TEXT NOT NULL,
    route TEXT NOT NULL,
    language TEXT NOT NULL,
    subject TEXT,
    body TEXT NOT NULL,
    html TEXT,
    urgency TEXT NOT NULL CHECK (urgency IN ('digest', 'routine', 'urgent')),
    act_by DATE,
    created_at TIMESTAMPTZ NOT NULL,
    due_at TIMESTAMPTZ NOT NULL,
    expires_at TIMESTAMPTZ NOT NULL,
    state TEXT NOT NULL
        CHECK (state IN ('waiting', 'sending', 'sent', 'failed', 'expired', 'held')),
    attempts BIGINT NOT NULL CHECK (attempts >= 0),
    -- A try ended without an answer, so the person may get, or have got, the text once more.
    possibly_twice BOOLEAN NOT NULL,
    lease_token TEXT,
    lease_until TIMESTAMPTZ,
    sent_at TIMESTAMPTZ,
    ended_at TIMESTAMPTZ,
    provider_id TEXT,
    last_error TEXT,
    CHECK ((state = 'sending') = (lease_token IS NOT NULL)),
    CHECK ((state = 'sending') = (lease_until IS NOT NULL)),
    CHECK ((state IN ('waiting', 'sending')) = (ended_at IS NULL))
);
CREATE INDEX outbox_open ON outbox (due_at) WHERE state IN ('waiting', 'sending');
CREATE INDEX outbox_by_person ON outbox (person, created_at);

CREATE TABLE outbox_notice (
    outbox_id TEXT NOT NULL REFERENCES outbox (id),
    notice_id TEXT NOT NULL REFERENCES notice (id),
    PRIMARY KEY (outbox_id, notice_id)
);
CREATE INDEX outbox_notice_by_notice ON outbox_notice (notice_id);

CREATE TABLE attempt (
    outbox_id TEXT NOT NULL REFERENCES outbox (id),
    -- Claims are counted; one whose worker died leaves a gap.
    number BIGINT NOT NULL,
    at TIMESTAMPTZ NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('sent', 'retry', 'failed', 'unknown')),
    detail TEXT,
    duration_ms BIGINT NOT NULL,
    PRIMARY KEY (outbox_id, number)
);

CREATE TABLE inbound (
    id TEXT PRIMARY KEY,
    route TEXT NOT NULL,
    provider_id TEXT,
    sender TEXT NOT NULL,
    body TEXT NOT NULL,
    received_at TIMESTAMPTZ NOT NULL,
    handled_at TIMESTAMPTZ,
    outcome TEXT,
    CHECK ((handled_at IS NULL) = (outcome IS NULL)),
    UNIQUE (route, provider_id)
);
CREATE INDEX inbound_unhandled ON inbound (received_at) WHERE handled_at IS NULL;

-- Append-only; the latest row of a person is in force.
CREATE TABLE consent (
    id TEXT PRIMARY KEY,
    person TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('start', 'stop')),
    at TIMESTAMPTZ NOT NULL,
    how TEXT NOT NULL,
    wording TEXT NOT NULL
);
CREATE INDEX consent_by_person ON consent (person, at);

CREATE VIEW consent_now AS
SELECT id, person, state, at, how, wording
FROM consent
WHERE NOT EXISTS (
    SELECT 1 FROM consent later
    WHERE later.person = consent.person AND (later.at, later.id) > (consent.at, consent.id)
);

-- Texts that may still go, and from when on. Nothing goes after STOP but its confirmation.
CREATE VIEW sendable AS
SELECT id, urgency, expires_at,
    CASE WHEN state = 'sending' THEN lease_until ELSE due_at END AS ready_at
FROM outbox
WHERE state IN ('waiting', 'sending')
    AND (
        kind = 'stop-confirmation'
        OR person NOT IN (SELECT person FROM consent_now WHERE state = 'stop')
    );

CREATE TABLE digest (
    advisor TEXT NOT NULL,
    local_date DATE NOT NULL,
    created_at TIMESTAMPTZ NOT NULL,
    body TEXT NOT NULL,
    html TEXT,
    outbox_id TEXT REFERENCES outbox (id),
    PRIMARY KEY (advisor, local_date)
);

-- What is done once per key, such as a schedule once per local date.
CREATE TABLE mark (
    name TEXT NOT NULL,
    key TEXT NOT NULL,
    at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (name, key)
);
