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
WITH g AS (
  -- Columns are grouped as they stand: making one small number of several costs more
  -- than grouping by them all. The levels of a set are one code, -1 where the stored
  -- ones stand, so that those of few episodes are worked out; the groups are then put
  -- together by what they mean.
  SELECT month, started_at < $mature_before AS mature, {{keys}}, age_months >= 0 AS aged, age_months >= 6 AS half_year, age_months >= 84 AS seven_years, level,
    rule_low, rule_level, rule_high, old_rule_code, new_rule_code, need_emergency, need_same_day, route, count(*) AS n
  FROM ({{ruled}}) r
  WHERE r.month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT month, mature, coalesce(site, '') AS site, coalesce(species, '') AS species,
  CASE WHEN seven_years THEN 3 WHEN half_year THEN 2 WHEN aged THEN 1 ELSE 0 END::TINYINT AS age, level,
  {{levelsOf "old_rule_code" "old"}}, {{levelsOf "new_rule_code" "new"}},
  need_emergency, need_same_day, route, {{stratum}} AS stratum, sum(n)::BIGINT AS n
FROM g
GROUP BY ALL
ORDER BY ALL
