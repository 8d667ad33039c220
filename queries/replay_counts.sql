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
SELECT aged_month // 2 AS month, aged_month % 2 = 1 AS mature, coalesce(site, '') AS site, coalesce(species, '') AS species, (known % 4)::TINYINT AS age, (known // 4 % 5)::TINYINT AS level,
  (levels // 3125)::TINYINT AS old_low, (levels // 625 % 5)::TINYINT AS old_level, (levels // 125 % 5)::TINYINT AS old_high, (levels // 25 % 5)::TINYINT AS new_low, (levels // 5 % 5)::TINYINT AS new_level, (levels % 5)::TINYINT AS new_high,
  (known // 60 % 3 - 1)::TINYINT AS need_emergency, (known // 20 % 3 - 1)::TINYINT AS need_same_day, (known // 180)::TINYINT AS route, {{stratum}} AS stratum, n
FROM (
  -- Small numbers that belong together are packed into one: grouping by five
  -- columns instead of sixteen takes a third of the time.
  SELECT month * 2 + (started_at < $mature_before)::INTEGER AS aged_month, {{keys}},
    (route * 9::TINYINT + need_emergency * 3::TINYINT + need_same_day + 4::TINYINT) * 20::SMALLINT + level * 4::TINYINT +
      CASE WHEN age_months IS NULL OR age_months < 0 THEN 0::TINYINT WHEN age_months < 6 THEN 1::TINYINT WHEN age_months < 84 THEN 2::TINYINT ELSE 3::TINYINT END AS known,
    old_rule_pack * 125::SMALLINT + new_rule_pack AS levels,
    count(*) AS n
  FROM ({{ruled}}) r
  WHERE r.month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
ORDER BY ALL
