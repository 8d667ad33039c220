-- name: advice_groups
-- answers: How does the accuracy of the advice differ between species, complaints, sites, hours, days of the week,
--   and episodes with one contact or several? Every two-by-two table of a group is a sum of these rows.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: property, species, complaint, site, hours, week or contact
-- column: value, its value; empty if not recorded
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: later_level, highest advice at later contacts of the episode, 0 none
-- column: need_emergency, 1 needed, 0 not needed, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: n, mature episodes
-- row: one row per property, value, level, need and route that occurs
WITH c AS (
  SELECT coalesce(species, '') AS species, coalesce(complaint, '') AS complaint, coalesce(site, '') AS site,
    CASE WHEN local_hour IS NULL THEN '' WHEN local_hour BETWEEN 8 AND 17 THEN 'day' WHEN local_hour BETWEEN 18 AND 22 THEN 'evening' ELSE 'night' END AS hours,
    CASE WHEN weekday IS NULL THEN '' WHEN weekday >= 6 THEN 'weekend' ELSE 'weekday' END AS week,
    CASE WHEN contacts > 1 THEN 'several_contacts' ELSE 'one_contact' END AS contact,
    level, later_level, need_emergency, need_same_day, route
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before
), counted AS (
  SELECT level, later_level, need_emergency, need_same_day, route, unnest(['species', 'complaint', 'site', 'hours', 'week', 'contact']) AS property,
    unnest([map_entries(histogram(species)), map_entries(histogram(complaint)), map_entries(histogram(site)),
      map_entries(histogram(hours)), map_entries(histogram(week)), map_entries(histogram(contact))]) AS counts
  FROM c
  GROUP BY level, later_level, need_emergency, need_same_day, route
), long AS (
  SELECT * EXCLUDE (counts), unnest(counts) AS one FROM counted
)
SELECT property, one.key AS value, level, later_level, need_emergency, need_same_day, route, one.value::BIGINT AS n
FROM long
ORDER BY ALL
