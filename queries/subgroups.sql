-- name: subgroups
-- answers: Who called, and about which animals? The make-up of the episodes, for readers who compare lines.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: property, species, sex, neutered, site, hours, complaint, independent or source
-- column: value, its value; empty if not recorded
-- column: n, episodes
-- column: escalated, advised same day or emergency
-- row: one row per property and value, most frequent first
WITH c AS (
  SELECT coalesce(species, '') AS species, coalesce(sex, '') AS sex, coalesce(neutered, '') AS neutered,
    coalesce(site, '') AS site, coalesce(complaint, '') AS complaint,
    CASE WHEN local_hour IS NULL THEN '' WHEN weekday >= 6 THEN 'weekend' WHEN local_hour BETWEEN 8 AND 18 THEN 'weekday, 8 to 19 h'
      ELSE 'weekday night' END AS hours,
    CASE independent WHEN 1 THEN 'yes' WHEN 0 THEN 'no' ELSE 'unknown' END AS independent,
    CASE outcome_source WHEN 1 THEN 'vet' WHEN 2 THEN 'owner_follow_up' WHEN 3 THEN 'panel' ELSE '' END AS source,
    level >= 3 AS escalated, count(*) AS n
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT property, value, sum(n)::BIGINT AS n, coalesce(sum(n) FILTER (escalated), 0)::BIGINT AS escalated
FROM c UNPIVOT (value FOR property IN (species, sex, neutered, site, hours, complaint, independent, source))
GROUP BY ALL
ORDER BY property, n DESC, value
