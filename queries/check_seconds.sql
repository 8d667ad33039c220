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
{{if walked}}WITH place AS (
  SELECT finding, (row_number() OVER (ORDER BY finding))::USMALLINT AS no
  FROM (SELECT DISTINCT finding FROM checks WHERE episode_month BETWEEN $from_month AND $to_month)
), walked AS (
  -- A store keeps the checks of a call together, in the order asked: the next row is
  -- the next check, and nothing is sorted. Words would be copied on the way: they go
  -- as numbers. A time that is not on record stands last.
  SELECT call, no, seq, put, coalesce(lead(call) OVER () = call, false) AS goes_on, lead(seq) OVER () AS next_seq, lead(put) OVER () AS next_put, lead(no) OVER () AS next_no
  FROM (
    SELECT k.call, p.no, coalesce(k.seq, 32767) AS seq, coalesce(epoch_us(k.asked_at), 9223372036854775807) AS put
    FROM checks k JOIN place p ON p.finding = k.finding
    WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.observer IS DISTINCT FROM 'vet' AND k.state <> 'not_asked'
  )
), lasting AS (
  SELECT w.no, NOT w.goes_on AS last, a.call IS NOT NULL AS of_first, w.goes_on AND (w.seq > w.next_seq OR w.seq = w.next_seq AND (w.put > w.next_put OR w.put = w.next_put AND w.no > w.next_no)) AS astray,
    coalesce(CASE WHEN w.goes_on THEN nullif(w.next_put, 9223372036854775807) END, a.ended_at) - nullif(w.put, 9223372036854775807) AS micros
  FROM walked w LEFT JOIN (SELECT call, epoch_us(ended_at) AS ended_at FROM calls WHERE episode = call AND episode_month BETWEEN $from_month AND $to_month) a ON a.call = w.call
), counted AS (
  SELECT no, count(*) FILTER (of_first) AS asked, count(*) FILTER (of_first AND micros BETWEEN 0 AND 3600000000) AS timed,
    coalesce(sum(micros) FILTER (of_first AND micros BETWEEN 0 AND 3600000000), 0)::DOUBLE / 1000000 AS seconds, count(*) FILTER (last) AS runs, bool_or(astray) AS astray
  FROM lasting
  GROUP BY no
), in_order AS (
  SELECT sum(runs) = (SELECT count(DISTINCT call) FROM checks WHERE episode_month BETWEEN $from_month AND $to_month AND observer IS DISTINCT FROM 'vet' AND state <> 'not_asked')
    AND NOT bool_or(astray) AS so
  FROM counted
)
SELECT CASE WHEN so THEN finding ELSE error('checks in another order: ' || finding) END AS finding, asked, timed, seconds
FROM counted JOIN place USING (no), in_order
WHERE asked > 0
ORDER BY place.finding
{{else}}WITH place AS (
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
{{end}}
