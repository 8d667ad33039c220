-- name: unusual_readings
-- answers: How many readings lie outside the usual range of well animals of the species, by who looked and where? A range
--   is of resting animals at home or as its source says; nothing is done to such readings.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, id of a numeric finding
-- column: species, of the animal
-- column: observer, who looked; empty: not recorded
-- column: setting, home, car or clinic; empty: not recorded
-- column: low, lower end of the usual range, in the finding's unit
-- column: high, its upper end
-- column: readings, readings of all checks of the calls of that time, repeats included
-- column: below, readings below it
-- column: above, readings above it
-- row: one row per finding, species, observer and setting with a usual range
WITH {{usual}},
readings AS (
  SELECT k.finding, coalesce(c.species, '') AS species, coalesce(k.observer, '') AS observer, coalesce(k.setting, '') AS setting, k.value_number
  FROM checks k JOIN calls c USING (call)
  WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.value_number IS NOT NULL)
SELECT finding, species, observer, setting, coalesce(u.low, a.low) AS low, coalesce(u.high, a.high) AS high, count(*) AS readings,
  count(*) FILTER (value_number < coalesce(u.low, a.low)) AS below, count(*) FILTER (value_number > coalesce(u.high, a.high)) AS above
FROM readings LEFT JOIN usual u USING (finding, species) LEFT JOIN (SELECT * FROM usual WHERE species = 'any') a USING (finding)
WHERE coalesce(u.low, a.low) IS NOT NULL
GROUP BY ALL
ORDER BY finding, species, observer, setting
