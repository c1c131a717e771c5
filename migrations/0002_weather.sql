-- Weather as it came, kept by cell, and what is needed to ask for it politely.

CREATE TABLE cell (
    id TEXT PRIMARY KEY,
    url TEXT NOT NULL,
    polygon TEXT,
    resolved_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE field_cell (
    field TEXT PRIMARY KEY,
    cell TEXT NOT NULL REFERENCES cell (id),
    latitude DOUBLE PRECISION NOT NULL,
    longitude DOUBLE PRECISION NOT NULL,
    resolved_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE weather_fetch (
    url TEXT PRIMARY KEY,
    -- Validators are echoed to the server as they came.
    etag TEXT,
    last_modified TEXT,
    update_time TIMESTAMPTZ,
    fetched_at TIMESTAMPTZ NOT NULL,
    status BIGINT,
    failures BIGINT NOT NULL CHECK (failures >= 0),
    last_error TEXT,
    next_due_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE weather_hour (
    cell TEXT NOT NULL REFERENCES cell (id),
    hour TIMESTAMPTZ NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('gauge', 'radar', 'station', 'model', 'forecast')),
    temp_c DOUBLE PRECISION,
    rain_mm DOUBLE PRECISION,
    humidity_pct DOUBLE PRECISION,
    wind_mps DOUBLE PRECISION,
    gust_mps DOUBLE PRECISION,
    sky_pct DOUBLE PRECISION,
    issued_at TIMESTAMPTZ NOT NULL,
    fetched_at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (cell, hour, kind)
);
