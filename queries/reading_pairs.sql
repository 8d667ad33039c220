-- name: reading_pairs
-- answers: What did the owner read on the telephone, and what did the vet read of the same sign? Only exams within
--   the stated hours and before treatment compare; otherwise the sign may have changed.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: hours number, how long after the call the vet's reading still compares
-- column: finding, id of the finding
-- column: comparable, whether the exam was in time and is known to have come before treatment
-- column: owner_code, the owner's word; empty for a number
-- column: vet_code, the vet's word; empty for a number
-- column: owner_number, the owner's reading in the finding's unit, null for a code
-- column: vet_number, the vet's reading in the finding's unit, null for a code
-- column: n, calls with this pair
-- row: one row per finding, comparability and pair of readings
WITH vet AS MATERIALIZED (
  -- Few calls have an exam: only what an owner read of the same is looked at.
  SELECT call, finding, value_code, value_number, asked_at
  FROM checks
  WHERE observer = 'vet' AND state = 'done' AND episode_month BETWEEN $from_month AND $to_month
), owner AS (
  -- A vet reads few signs; what else the owner read is left out before the join.
  SELECT call, finding, seq, value_code, value_number
  FROM checks
  WHERE state = 'done' AND observer IS DISTINCT FROM 'vet' AND episode_month BETWEEN $from_month AND $to_month AND finding IN (SELECT DISTINCT finding FROM vet)
), pair AS (
  -- The last reading of the call is the one that the advice rested on; the
  -- first exam compares best. What has no place or time stands behind.
  SELECT v.call, v.finding, arg_max(coalesce(o.value_code, ''), coalesce(o.seq, -1)) AS owner_code, arg_max(o.value_number, coalesce(o.seq, -1)) AS owner_number,
    arg_min(coalesce(v.value_code, ''), coalesce(v.asked_at, 'infinity')) AS vet_code, arg_min(v.value_number, coalesce(v.asked_at, 'infinity')) AS vet_number, min(v.asked_at) AS asked_at
  FROM owner o JOIN vet v ON v.call = o.call AND v.finding = o.finding
  GROUP BY v.call, v.finding
), exam AS (
  SELECT call, seen_at, bool_or(treatment_begun) AS treated FROM outcomes
  WHERE source = 'vet' AND call IS NOT NULL AND episode_month BETWEEN $from_month AND $to_month GROUP BY call, seen_at
)
SELECT p.finding, coalesce(p.asked_at >= c.started_at AND p.asked_at <= c.started_at + to_seconds(3600 * $hours::DOUBLE) AND NOT e.treated, false) AS comparable,
  owner_code, vet_code, owner_number, vet_number, count(*) AS n
FROM pair p JOIN calls c ON c.call = p.call AND c.episode_month BETWEEN $from_month AND $to_month
LEFT JOIN exam e ON e.call = p.call AND e.seen_at = p.asked_at
GROUP BY ALL
ORDER BY ALL
