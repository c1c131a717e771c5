-- What was observed over a day at a spot or a station, and the warnings in force.

CREATE TABLE station (
    -- `acis:ID` or `ghcn:ID`.
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    latitude DOUBLE PRECISION NOT NULL,
    longitude DOUBLE PRECISION NOT NULL,
    hand_read BOOLEAN NOT NULL,
    listed_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE weather_day (
    -- A spot such as `41.21,-96.49`, or a station.
    place TEXT NOT NULL,
    source TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('gauge', 'radar', 'station', 'model', 'forecast')),
    -- The date as the source labels it; the period says what it covers.
    day DATE NOT NULL,
    starts_at TIMESTAMPTZ NOT NULL,
    ends_at TIMESTAMPTZ NOT NULL,
    rain_mm DOUBLE PRECISION,
    high_c DOUBLE PRECISION,
    low_c DOUBLE PRECISION,
    humidity_pct DOUBLE PRECISION,
    wind_mps DOUBLE PRECISION,
    solar_mj DOUBLE PRECISION,
    soil_high_c DOUBLE PRECISION,
    soil_low_c DOUBLE PRECISION,
    trace BOOLEAN NOT NULL,
    issued_at TIMESTAMPTZ,
    fetched_at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (place, source, kind, day)
);
CREATE INDEX weather_day_by_day ON weather_day (day);

CREATE TABLE field_zone (
    field TEXT PRIMARY KEY,
    -- JSON list of the zones that warnings are addressed to, as in `county/NEC155`.
    zones TEXT NOT NULL
);

CREATE TABLE weather_alert (
    id TEXT PRIMARY KEY,
    body TEXT NOT NULL,
    fetched_at TIMESTAMPTZ NOT NULL
);
