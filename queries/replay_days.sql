-- name: replay_days
-- answers: How many animals would two sets of rules have sent in, on each day and in each night of each site?
-- param: current rules, the rules to compare with: a rules file, or in_force for those of the store
-- param: proposed rules, the rules that are proposed, likewise
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: cut level, what counts as sent in: same_day or emergency
-- param: night_from number, local hour at which the night begins, such as 20
-- param: night_to number, local hour at which it ends, such as 8
-- column: site, where the contact was taken
-- column: night, whether it is a night; it belongs to the day on which it began
-- column: date, local day
-- column: calls, episodes that began
-- column: old_sent, sent in if the current rules are followed exactly
-- column: new_sent, sent in if the proposed rules are
-- column: old_kept, sent in by the current rules with the advisors' own raises
-- column: new_kept, sent in by the proposed rules with those raises
-- row: one row per site, day or night, and date with calls
WITH c AS (
  SELECT coalesce(site, '') AS site, level, old_rule_level AS old, new_rule_level AS new, local_hour::INTEGER AS h,
    -- Local time is not stored, but its hour is: the offset is the difference of the hours.
    started_at + to_hours(((local_hour - hour(started_at) + 36) % 24 - 12)::INTEGER) AS at_local
  FROM ({{ruled}}) r
  WHERE r.month BETWEEN $from_month AND $to_month AND local_hour IS NOT NULL
), d AS (
  SELECT *, CASE WHEN $night_from::INTEGER <= $night_to::INTEGER THEN h >= $night_from::INTEGER AND h < $night_to::INTEGER
      ELSE h >= $night_from::INTEGER OR h < $night_to::INTEGER END AS night
  FROM c
)
SELECT site, night, (CASE WHEN night AND h < $night_to::INTEGER AND $night_from::INTEGER > $night_to::INTEGER THEN at_local - INTERVAL 1 DAY ELSE at_local END)::DATE AS date,
  count(*) AS calls, count(*) FILTER (old >= $cut) AS old_sent, count(*) FILTER (new >= $cut) AS new_sent,
  count(*) FILTER (greatest(old, level) >= $cut) AS old_kept, count(*) FILTER (CASE WHEN level > old THEN greatest(new, level) ELSE new END >= $cut) AS new_kept
FROM d
GROUP BY ALL
ORDER BY ALL
