-- name: unusual_calls
-- answers: Which calls hold the readings furthest outside the usual range? A slip of counting or of units shows here first.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: most number, how many readings to list
-- column: finding, id of a numeric finding
-- column: species, of the animal
-- column: value, the reading in the finding's unit
-- column: low, lower end of the usual range
-- column: high, its upper end
-- column: number_given, the number as the export gave it, null none
-- column: unit_given, its unit, empty none
-- column: count, what was counted, null none
-- column: window_s, over how many seconds, null none
-- column: observer, who looked; empty: not recorded
-- column: setting, home, car or clinic; empty: not recorded
-- column: call, pseudonym of the call; find it with ingest lookup
-- row: one row per reading, the furthest first; the distance is a share of the usual range
WITH {{usual}},
readings AS (
  SELECT k.finding, coalesce(c.species, '') AS species, k.value_number, k.number_given, k.unit_given, k.count, k.window_s, k.observer, k.setting, k.call
  FROM checks k JOIN calls c USING (call)
  WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.value_number IS NOT NULL),
far AS (
  SELECT r.*, coalesce(u.low, a.low) AS low, coalesce(u.high, a.high) AS high,
    greatest(coalesce(u.low, a.low) - value_number, value_number - coalesce(u.high, a.high)) / greatest(coalesce(u.high, a.high) - coalesce(u.low, a.low), 1e-9) AS distance
  FROM readings r LEFT JOIN usual u USING (finding, species) LEFT JOIN (SELECT * FROM usual WHERE species = 'any') a USING (finding))
SELECT finding, species, value_number AS "value", low, high, number_given, coalesce(unit_given, '') AS unit_given, "count", window_s,
  coalesce(observer, '') AS observer, coalesce(setting, '') AS setting, call::VARCHAR AS call
FROM far
WHERE distance > 0
ORDER BY distance DESC, finding, species, far.call, value_number
LIMIT $most
