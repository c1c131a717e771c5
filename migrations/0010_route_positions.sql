-- How far a route has read a line of its own, such as a chat server's stream of events. It moves in
-- the transaction that keeps what was read.

CREATE TABLE route_position (
    route TEXT NOT NULL,
    -- Whose line: another account is read from its own beginning.
    line TEXT NOT NULL,
    -- In the other side's terms.
    position TEXT NOT NULL,
    at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (route, line)
);
