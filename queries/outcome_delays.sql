-- name: outcome_delays
-- answers: How many days lie between the first contact and what was found, and until it was written down?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm of the episode's first contact
-- column: source, vet, owner_follow_up or panel
-- column: until, seen or recorded
-- column: days, whole days since the first contact; -1 where the moment is not on record
-- column: n, outcomes linked to an episode
-- row: one row per month, source, moment and number of days
WITH linked AS (
  SELECT o.episode_month AS month, o.source, greatest(floor((epoch(o.seen_at) - epoch(a.started_at)) / 86400), 0)::INTEGER AS seen,
    CASE WHEN o.recorded_at IS NULL THEN -1 ELSE greatest(floor((epoch(o.recorded_at) - epoch(a.started_at)) / 86400), 0) END::INTEGER AS recorded, count(*) AS n
  FROM outcomes o JOIN calls a ON a.call = o.episode
  WHERE o.episode_month BETWEEN $from_month AND $to_month AND a.episode_month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT month, source, until, days, sum(n)::BIGINT AS n
FROM linked UNPIVOT (days FOR until IN (seen, recorded))
GROUP BY ALL
ORDER BY ALL
