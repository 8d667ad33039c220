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
WITH h AS (
  -- Nearly every episode keeps its stored level; those that a set moves are set right after.
  SELECT site, h::INTEGER AS h, hour_utc, calls, sent AS old_sent, sent AS new_sent, kept AS old_kept, kept AS new_kept FROM {{hours}} WHERE h IS NOT NULL
  UNION ALL
  SELECT site, local_hour::INTEGER AS h, epoch_us(started_at) // 3600000000 AS hour_utc, 0,
    count_if(old_level >= $cut::TINYINT) - count_if(rule_level >= $cut::TINYINT), count_if(new_level >= $cut::TINYINT) - count_if(rule_level >= $cut::TINYINT),
    count_if(old_level >= $cut::TINYINT OR level >= $cut::TINYINT) - count_if(rule_level >= $cut::TINYINT OR level >= $cut::TINYINT),
    -- A raise is kept where the advice was above what the current rules demanded.
    count_if(new_level >= $cut::TINYINT OR level >= $cut::TINYINT AND level > old_level) - count_if(rule_level >= $cut::TINYINT OR level >= $cut::TINYINT)
  FROM {{moved}} WHERE month BETWEEN $from_month AND $to_month AND local_hour IS NOT NULL GROUP BY ALL
), d AS (
  -- Local time is not stored, but its hour is: the offset is the difference of the hours.
  SELECT * REPLACE (coalesce(site, '') AS site), (hour_utc + (h - hour_utc % 24 + 36) % 24 - 12) // 24 AS day,
    CASE WHEN $night_from::INTEGER <= $night_to::INTEGER THEN h >= $night_from::INTEGER AND h < $night_to::INTEGER
      ELSE h >= $night_from::INTEGER OR h < $night_to::INTEGER END AS night
  FROM h
)
SELECT site, night, DATE '1970-01-01' + (day - (night AND h < $night_to::INTEGER AND $night_from::INTEGER > $night_to::INTEGER)::INTEGER)::INTEGER AS date,
  sum(calls)::BIGINT AS calls, sum(old_sent)::BIGINT AS old_sent, sum(new_sent)::BIGINT AS new_sent, sum(old_kept)::BIGINT AS old_kept, sum(new_kept)::BIGINT AS new_kept
FROM d
GROUP BY ALL
ORDER BY ALL
