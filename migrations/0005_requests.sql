-- Every request to a weather service, so that stale weather can be explained afterwards.

CREATE TABLE weather_request (
    id TEXT PRIMARY KEY,
    at TIMESTAMPTZ NOT NULL,
    source TEXT NOT NULL,
    -- Path and query; they hold a place and dates, and never a key.
    path TEXT NOT NULL,
    -- None when no answer came.
    status BIGINT,
    bytes BIGINT NOT NULL CHECK (bytes >= 0),
    issued_at TIMESTAMPTZ,
    took_ms BIGINT NOT NULL CHECK (took_ms >= 0),
    correlation_id TEXT,
    -- What went wrong, in words; none after a good answer.
    fault TEXT
);
CREATE INDEX weather_request_by_time ON weather_request (at);
CREATE INDEX weather_request_by_source ON weather_request (source, at);
