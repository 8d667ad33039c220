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
    level >= 3 AS escalated
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
), counted AS (
  SELECT escalated, unnest(['species', 'sex', 'neutered', 'site', 'hours', 'complaint', 'independent', 'source']) AS property,
    unnest([map_entries(histogram(species)), map_entries(histogram(sex)), map_entries(histogram(neutered)), map_entries(histogram(site)),
      map_entries(histogram(hours)), map_entries(histogram(complaint)), map_entries(histogram(independent)), map_entries(histogram(source))]) AS counts
  FROM c
  GROUP BY escalated
), long AS (
  SELECT escalated, property, unnest(counts) AS one FROM counted
)
SELECT property, one.key AS value, sum(one.value)::BIGINT AS n, coalesce(sum(one.value) FILTER (escalated), 0)::BIGINT AS escalated
FROM long
GROUP BY ALL
ORDER BY property, n DESC, value
