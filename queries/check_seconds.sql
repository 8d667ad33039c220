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
WITH place AS (
  SELECT finding, row_number() OVER (ORDER BY finding) AS no
  FROM (SELECT DISTINCT finding FROM checks WHERE episode_month BETWEEN $from_month AND $to_month)
), packed AS (
  -- The checks of a call as whole numbers in the order of place, time and finding:
  -- sorting a few numbers a call is half the work of a window over all checks.
  SELECT k.call, list_sort(list(coalesce(k.seq, 32767)::HUGEINT * 1208925819614629174706176 -- 2^80
    + coalesce(epoch_us(k.asked_at), 9223372036854775807)::HUGEINT * 65536 + p.no)) AS checks
  FROM checks k JOIN place p ON p.finding = k.finding
  WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.observer IS DISTINCT FROM 'vet' AND k.state <> 'not_asked'
  GROUP BY k.call
), pairs AS (
  SELECT unnest(k.checks) AS this, unnest(k.checks[2:]) AS next, epoch_us(a.ended_at) AS ended
  FROM packed k JOIN calls a ON a.call = k.call AND a.episode = a.call
  WHERE a.episode_month BETWEEN $from_month AND $to_month
), lasting AS (
  SELECT this & 65535 AS no,
    coalesce(nullif((next >> 16) & 9223372036854775807, 9223372036854775807)::BIGINT, ended) - nullif((this >> 16) & 9223372036854775807, 9223372036854775807)::BIGINT AS micros
  FROM pairs
)
SELECT finding, asked, timed, seconds
FROM (
  SELECT no, count(*) AS asked, count(*) FILTER (micros BETWEEN 0 AND 3600000000) AS timed,
    coalesce(sum(micros) FILTER (micros BETWEEN 0 AND 3600000000), 0)::DOUBLE / 1000000 AS seconds
  FROM lasting
  GROUP BY no
) JOIN place USING (no)
ORDER BY finding
