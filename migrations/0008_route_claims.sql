-- Each route has its own senders, so that a slow one holds up no other: what may still go says over
-- which route.
DROP VIEW sendable;
CREATE VIEW sendable AS
SELECT id, route, urgency, expires_at,
    CASE WHEN state = 'sending' THEN lease_until ELSE due_at END AS ready_at
FROM outbox
WHERE state IN ('waiting', 'sending')
    AND (
        kind = 'stop-confirmation'
        OR person NOT IN (SELECT person FROM consent_now WHERE state = 'stop')
    );
