-- name: replay_moved
-- answers: Which episodes would one of two sets of rules put at another level than the rules in force did? The other questions about a
--   replay take everything else as it stands in the records.
-- param: current rules, the rules to compare with: a rules file, or in_force for those of the store
-- param: proposed rules, the rules that are proposed, likewise
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: episode, pseudonym of the episode
-- column: started_at, first contact, UTC
-- column: month, yyyymm
-- column: local_hour, hour of the first contact on the caller's clock
-- column: site, where the contact was taken
-- column: species, of the animal
-- column: stratum, the recorded properties beside the level
-- column: age_months, age in months, null not recorded
-- column: complaint, coded
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: rule_low, level of the rules in force by flags that fired alone, 0 undetermined
-- column: rule_level, level that the rules in force demand
-- column: rule_high, the highest level they may demand once unknown answers are known
-- column: old_low, the three of the current rules
-- column: old_level, likewise
-- column: old_high, likewise
-- column: new_low, the three of the proposed rules
-- column: new_level, likewise
-- column: new_high, likewise
-- column: need_emergency, 1 needed it, 0 did not, -1 not verified
-- column: need_same_day, the same for care on the same day
-- column: route, how the outcome came to be known
-- column: disposition, what became of the animal
-- column: died, whether the animal died or was put to sleep
-- column: outcome_minutes, minutes from the first contact to the outcome
-- column: words, bits of the flags that fired: the stored words, then those of flags of which the store has no answer
-- row: one row per episode
SELECT episode::VARCHAR AS episode, started_at, month, local_hour, coalesce(site, '') AS site, coalesce(species, '') AS species, {{stratum}} AS stratum, age_months, coalesce(complaint, '') AS complaint, level, rule_low, rule_level, rule_high,
  old_low, old_level, old_high, new_low, new_level, new_high,
  need_emergency, need_same_day, route, coalesce(disposition, '') AS disposition, coalesce(died, false) AS died, outcome_minutes, {{ruledWords}} AS words
FROM (
  SELECT *, {{levelsOf "old_rule_code" "old"}}, {{levelsOf "new_rule_code" "new"}}
  FROM ({{ruled}})
  -- That a set may move an episode is cheap to see, and mostly from one column. The
  -- first condition holds always: it cannot be asked while a file is read, so DuckDB gathers
  -- the few rows of many vectors into full ones before it works out their levels.
  WHERE month <= greatest(month, rule_high) AND {{inMonths}} AND (old_rule_moved OR new_rule_moved)
)
WHERE old_low <> rule_low OR old_level <> rule_level OR old_high <> rule_high OR new_low <> rule_low OR new_level <> rule_level OR new_high <> rule_high
