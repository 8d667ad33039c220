-- name: check_seconds
-- answers: How long did each check take on the telephone? A check lasts until the next question of the first contact,
--   the last one until the call ended.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, id of the finding
-- column: asked, checks of first contacts that were done, tried or declined
-- column: timed, those whose beginning and end are on record, at most an hour apart
-- column: seconds, what the timed ones took together
-- row: one row per finding
WITH asked AS (
  SELECT k.finding, k.state, k.asked_at, coalesce(lead(k.asked_at) OVER (PARTITION BY k.call ORDER BY k.seq, k.asked_at, k.finding), a.ended_at) AS until
  FROM checks k JOIN calls a ON a.call = k.call AND a.episode = a.call
  WHERE k.episode_month BETWEEN $from_month AND $to_month AND a.episode_month BETWEEN $from_month AND $to_month
    AND k.observer IS DISTINCT FROM 'vet' AND k.state <> 'not_asked'
), lasting AS (
  SELECT finding, epoch(until) - epoch(asked_at) AS seconds FROM asked
)
SELECT finding, count(*) AS asked, count(*) FILTER (seconds BETWEEN 0 AND 3600) AS timed,
  coalesce(sum(seconds) FILTER (seconds BETWEEN 0 AND 3600), 0)::DOUBLE AS seconds
FROM lasting
GROUP BY finding
ORDER BY finding
