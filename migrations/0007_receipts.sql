-- What next hops said became of texts they had taken, and what was done about those that did not
-- arrive.

-- The ids under which the next hop reports a text: one a segment, often one in all.
CREATE TABLE outbox_part (
    route TEXT NOT NULL,
    provider_id TEXT NOT NULL,
    outbox_id TEXT NOT NULL REFERENCES outbox (id),
    PRIMARY KEY (route, provider_id, outbox_id)
);
CREATE INDEX outbox_part_by_text ON outbox_part (outbox_id);

-- A receipt may come twice, and before the answer that names its id: it is kept by that id alone
-- and joined when it is asked for. The id is the next hop's or, where it repeats ours, the text's.
CREATE TABLE receipt (
    route TEXT NOT NULL,
    provider_id TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN
        ('queued', 'sent', 'delivered', 'undelivered', 'failed', 'expired', 'unknown')),
    at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (route, provider_id, state)
);

-- At most one per text: the words went on over another route, or the advisor was told.
CREATE TABLE fallback (
    outbox_id TEXT PRIMARY KEY REFERENCES outbox (id),
    at TIMESTAMPTZ NOT NULL,
    why TEXT NOT NULL CHECK (why IN ('refused', 'undelivered', 'no-receipt')),
    -- The text that went instead, or the one that told the advisor.
    next_id TEXT REFERENCES outbox (id)
);
