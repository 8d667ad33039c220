-- name: tune_readings
-- answers: How often was each value of a flag's number recorded among the animals that the flag is meant for, by species,
--   age, breed and whatever else it asks of the animal? Where candidate thresholds are placed rests on these rows. By
--   name it asks about no flag.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: flag, place among the flags that are asked about, from 0
-- column: value, reading times scale
-- column: n, episodes
-- row: one row per flag and value
WITH c AS (SELECT * FROM cases WHERE month BETWEEN $from_month AND $to_month)
SELECT flag, value, count(*) AS n
FROM (
  SELECT unnest(range({{nTuned}}))::INTEGER AS flag, unnest({{tuneReadings}}) AS value
  FROM ({{tuneRelation "c"}})
)
WHERE value IS NOT NULL
GROUP BY ALL
ORDER BY ALL
