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
WITH done AS (
  SELECT call, finding, observer = 'vet' AS by_vet, value_code, value_number, asked_at, seq
  FROM checks
  WHERE state = 'done' AND episode_month BETWEEN $from_month AND $to_month
), owner AS (
  -- The last reading of the call is the one that the advice rested on.
  SELECT call, finding, arg_max(coalesce(value_code, ''), seq) AS code, arg_max(value_number, seq) AS number
  FROM done WHERE by_vet IS NOT TRUE GROUP BY call, finding
), vet AS (
  -- The first exam compares best.
  SELECT call, finding, arg_min(coalesce(value_code, ''), asked_at) AS code, arg_min(value_number, asked_at) AS number,
    min(asked_at) AS asked_at
  FROM done WHERE by_vet GROUP BY call, finding
), exam AS (
  SELECT call, seen_at, bool_or(treatment_begun) AS treated FROM outcomes WHERE source = 'vet' AND call IS NOT NULL GROUP BY call, seen_at
)
SELECT o.finding, coalesce(v.asked_at >= c.started_at AND v.asked_at <= c.started_at + to_seconds(3600 * $hours::DOUBLE) AND NOT e.treated, false) AS comparable,
  o.code AS owner_code, v.code AS vet_code, o.number AS owner_number, v.number AS vet_number, count(*) AS n
FROM owner o JOIN vet v ON v.call = o.call AND v.finding = o.finding
JOIN calls c ON c.call = o.call
LEFT JOIN exam e ON e.call = v.call AND e.seen_at = v.asked_at
GROUP BY ALL
ORDER BY ALL
