-- name: checks_alike
-- answers: How many checks are alike in what was checked, on which animal and how it went, and how long did those of first
--   contacts take? Counted in one walk over the checks in the order of their files; an error where a call's checks do not
--   lie together in the order asked.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, id of the finding
-- column: species, of the animal; empty if not recorded
-- column: handling, free, held, wrapped, refused; empty if not recorded
-- column: state, done, not_possible, declined or not_asked
-- column: reason, why it was not done; empty if not stated
-- column: n, checks, the vet's own left out
-- column: asked, those of first contacts, if they were done, tried or declined
-- column: timed, those of them whose beginning and end are on record, at most an hour apart
-- column: micros, what the timed ones took together, in microseconds
-- row: one row per finding, species, handling, state and reason
WITH place AS (
  SELECT finding, (row_number() OVER (ORDER BY finding))::USMALLINT AS no
  FROM (SELECT DISTINCT finding FROM checks WHERE episode_month BETWEEN $from_month AND $to_month)
), kind AS (
  SELECT species, (row_number() OVER (ORDER BY species))::USMALLINT AS animal
  FROM (SELECT DISTINCT coalesce(species, '') AS species FROM calls WHERE episode_month BETWEEN $from_month AND $to_month)
), a AS (
  SELECT c.call, k.animal, c.episode IS NOT DISTINCT FROM c.call AS of_first, epoch_us(c.ended_at) AS ended
  FROM calls c JOIN kind k ON k.species = coalesce(c.species, '')
  WHERE c.episode_month BETWEEN $from_month AND $to_month
), coded AS NOT MATERIALIZED (
  -- Words would be copied on the way: they go as numbers. One that is on no list has none.
  SELECT k.call, p.no, k.state = 'not_asked' AS not_asked, coalesce(k.seq, 32767) AS seq, coalesce(epoch_us(k.asked_at), 9223372036854775807) AS put,
    (list_position({{closed "handling"}}, coalesce(k.handling, '')) + 16 * list_position({{closed "state"}}, k.state) + 128 * list_position({{closed "reason"}}, coalesce(k.reason, '')))::USMALLINT AS word
  FROM checks k JOIN place p ON p.finding = k.finding
  WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.observer IS DISTINCT FROM 'vet'
), walked AS (
  -- A store keeps the checks of a call together, in the order asked: the next row is
  -- the next check, and nothing is sorted. A time that is not on record stands last.
  SELECT call, no, word, seq, put, coalesce(lead(call) OVER () = call, false) AS goes_on, lead(seq) OVER () AS next_seq, lead(put) OVER () AS next_put, lead(no) OVER () AS next_no
  FROM coded
  WHERE NOT not_asked
), lasting AS (
  SELECT w.no, w.word, coalesce(a.animal, 0) AS animal, NOT w.goes_on AS last, coalesce(a.of_first, false) AS of_first,
    w.goes_on AND (w.seq > w.next_seq OR w.seq = w.next_seq AND (w.put > w.next_put OR w.put = w.next_put AND w.no > w.next_no)) AS astray,
    coalesce(CASE WHEN w.goes_on THEN nullif(w.next_put, 9223372036854775807) END, a.ended) - nullif(w.put, 9223372036854775807) AS micros
  FROM walked w LEFT JOIN a ON a.call = w.call
), counted AS (
  SELECT no, word, animal, count(*) AS n, count(*) FILTER (of_first) AS asked, count(*) FILTER (of_first AND micros BETWEEN 0 AND 3600000000) AS timed,
    coalesce(sum(micros) FILTER (of_first AND micros BETWEEN 0 AND 3600000000), 0)::BIGINT AS micros, count(*) FILTER (last) AS runs, bool_or(astray) AS astray
  FROM lasting
  GROUP BY no, word, animal
  UNION ALL
  SELECT c.no, c.word, coalesce(a.animal, 0), count(*), 0, 0, 0, 0, false
  FROM coded c LEFT JOIN a ON a.call = c.call
  WHERE c.not_asked
  GROUP BY ALL
), in_order AS (
  SELECT coalesce(sum(runs), 0) = (SELECT count(DISTINCT call) FROM checks WHERE episode_month BETWEEN $from_month AND $to_month AND observer IS DISTINCT FROM 'vet' AND state <> 'not_asked')
    AND NOT coalesce(bool_or(astray OR word IS NULL), false) AS so
  FROM counted
)
SELECT CASE WHEN so THEN finding ELSE error('checks in another order: ' || finding) END AS finding, coalesce(species, '') AS species,
  {{closed "handling"}}[word & 15] AS handling, {{closed "state"}}[(word >> 4) & 7] AS state, {{closed "reason"}}[word >> 7] AS reason, n, asked, timed, micros
FROM counted JOIN place USING (no) LEFT JOIN kind USING (animal), in_order
ORDER BY place.finding, species, handling, state, reason
