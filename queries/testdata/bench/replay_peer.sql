-- The peer of BenchmarkReplay: DuckDB sums every column that the three
-- questions of a replay (replay_counts, replay_episodes, replay_days) read, in one scan of the
-- same files with the same threads. Texts are summed by their length; of the
-- identifiers, which have no sum, the greatest is taken. CHANGED is
-- filled in with the sums of the findings that only the proposal asks about anew.
-- The first seven figures are the checksum: the replay's rows must add up to them.
SELECT count(*) AS n, sum(month) AS month, sum(level) AS level, sum(rule_level) AS rule_level, sum(need_emergency) AS need_emergency,
  sum(need_same_day) AS need_same_day, sum(route) AS route,
  sum(local_hour) AS local_hour, sum(rule_low) AS rule_low, sum(rule_high) AS rule_high, sum(fired_0) AS fired_0, sum(unknown_0) AS unknown_0, sum(epoch_us(started_at)) AS started_at,
  sum(age_months) AS age_months, sum(strlen(site)) AS site, sum(strlen(species)) AS species,
  max(episode) AS episode, sum(strlen(complaint)) AS complaint, sum(strlen(disposition)) AS disposition, count_if(died) AS died,
  sum(outcome_minutes) AS outcome_minutes, {CHANGED}
FROM cases;
