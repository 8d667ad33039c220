-- name: replay_counts
-- answers: What would two sets of rules have demanded of the same episodes, beside what was advised and what was
--   found? Every figure of a replay is a sum of these rows.
-- param: current rules, the rules to compare with: a rules file, or in_force for those of the store
-- param: proposed rules, the rules that are proposed, likewise
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: month, yyyymm
-- column: mature, whether outcomes had time to arrive
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: age, 0 not recorded, 1 under six months, 2 under seven years, 3 seven years and over
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: old_low, level of the current rules by flags that fired alone, 0 undetermined to 4 emergency
-- column: old_level, level that the current rules demand
-- column: old_high, the highest level they may demand once unknown answers are known
-- column: new_low, the same for the proposed rules
-- column: new_level, level that the proposed rules demand
-- column: new_high, the highest level they may demand
-- column: need_emergency, 1 needed, 0 not needed, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: stratum, the recorded properties beside the level
-- column: n, episodes
-- row: one row per combination that occurs
WITH part AS (
  -- Nearly every episode keeps its stored levels; those that a set moves are taken
  -- away from there and put where they belong.
  SELECT month, mature, coalesce(site, '') AS site, coalesce(species, '') AS species, {{stratum}} AS stratum, age, level,
    rule_low AS old_low, rule_level AS old_level, rule_high AS old_high, rule_low AS new_low, rule_level AS new_level, rule_high AS new_high,
    need_emergency, need_same_day, route, of_age AS n
  FROM (SELECT *, unnest([0, 1, 2, 3]::TINYINT[]) AS age, unnest([n - aged, aged - half_year, half_year - seven_years, seven_years]) AS of_age FROM {{asStored}})
  WHERE of_age > 0
  UNION ALL
  SELECT month, started_at < $mature_before, site, species, stratum, CASE WHEN age_months >= 84 THEN 3 WHEN age_months >= 6 THEN 2 WHEN age_months >= 0 THEN 1 ELSE 0 END, level,
    rule_low, rule_level, rule_high, rule_low, rule_level, rule_high, need_emergency, need_same_day, route, -1
  FROM {{moved}} WHERE month BETWEEN $from_month AND $to_month
  UNION ALL
  SELECT month, started_at < $mature_before, site, species, stratum, CASE WHEN age_months >= 84 THEN 3 WHEN age_months >= 6 THEN 2 WHEN age_months >= 0 THEN 1 ELSE 0 END, level,
    old_low, old_level, old_high, new_low, new_level, new_high, need_emergency, need_same_day, route, 1
  FROM {{moved}} WHERE month BETWEEN $from_month AND $to_month
)
SELECT month, mature, site, species, age::TINYINT AS age, level,
  old_low, old_level, old_high, new_low, new_level, new_high, need_emergency, need_same_day, route, stratum, sum(n)::BIGINT AS n
FROM part
GROUP BY ALL
HAVING sum(n) <> 0
ORDER BY ALL
