-- name: process_by_month
-- answers: What did the line do each month: volume, advice, follow-up, repeat contacts, safety?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: month, yyyymm
-- column: episodes, by first clinical contact
-- column: mature, episodes whose outcomes had time to arrive
-- column: emergency, advised emergency
-- column: same_day, advised same day
-- column: soon, advised soon
-- column: home_care, advised home care
-- column: no_level, without advice on record
-- column: undetermined, nothing was assessed that the rules ask for
-- column: raised, advised above the rules' level
-- column: lowered, advised below the rules' level
-- column: recontact_24h, with another contact within 24 hours
-- column: raised_later, a later contact of the episode advised higher
-- column: safety_net, owner was told when to ring again
-- column: safety_net_known, episodes on which that is recorded
-- column: with_outcome, with any outcome
-- column: followed_up, outcome known by call-back or audit
-- column: verified, need for care on the same day known
-- column: needed, needed care on the same day
-- column: missed, needed care on the same day and were advised later than that
-- column: emergency_missed, mature, needed emergency care and were advised something less
-- column: died_advised_less, mature, died or put to sleep after the first advice soon or home care
-- column: did_not_attend, told to attend and did not
-- column: died, died or put to sleep
-- column: person_hurt, a person was scratched or bitten
-- row: one row per month with episodes
WITH alike AS (
  -- Episodes alike in all that is counted, so that the many counts below run
  -- over thousands of rows and not over millions.
  SELECT month, started_at < $mature_before AS mature, level, rule_level, recontact_24h, later_level > level AS raised_later,
    safety_net, route, need_emergency, need_same_day, attended, died, person_hurt, count(*) AS n
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT month, sum(n)::BIGINT AS episodes, coalesce(sum(n) FILTER (mature), 0)::BIGINT AS mature,
  coalesce(sum(n) FILTER (level = 4), 0)::BIGINT AS emergency, coalesce(sum(n) FILTER (level = 3), 0)::BIGINT AS same_day, coalesce(sum(n) FILTER (level = 2), 0)::BIGINT AS soon,
  coalesce(sum(n) FILTER (level = 1), 0)::BIGINT AS home_care, coalesce(sum(n) FILTER (level = 0), 0)::BIGINT AS no_level,
  coalesce(sum(n) FILTER (rule_level = 0), 0)::BIGINT AS undetermined, coalesce(sum(n) FILTER (rule_level > 0 AND level > rule_level), 0)::BIGINT AS raised,
  coalesce(sum(n) FILTER (level > 0 AND level < rule_level), 0)::BIGINT AS lowered,
  coalesce(sum(n) FILTER (recontact_24h), 0)::BIGINT AS recontact_24h, coalesce(sum(n) FILTER (raised_later), 0)::BIGINT AS raised_later,
  coalesce(sum(n) FILTER (safety_net), 0)::BIGINT AS safety_net, coalesce(sum(n) FILTER (safety_net IS NOT NULL), 0)::BIGINT AS safety_net_known,
  coalesce(sum(n) FILTER (route > 0), 0)::BIGINT AS with_outcome, coalesce(sum(n) FILTER (route >= 3), 0)::BIGINT AS followed_up,
  coalesce(sum(n) FILTER (need_same_day >= 0), 0)::BIGINT AS verified, coalesce(sum(n) FILTER (need_same_day = 1), 0)::BIGINT AS needed,
  coalesce(sum(n) FILTER (need_same_day = 1 AND level BETWEEN 1 AND 2), 0)::BIGINT AS missed,
  coalesce(sum(n) FILTER (mature AND need_emergency = 1 AND level BETWEEN 1 AND 3), 0)::BIGINT AS emergency_missed,
  coalesce(sum(n) FILTER (mature AND died AND level BETWEEN 1 AND 2), 0)::BIGINT AS died_advised_less,
  coalesce(sum(n) FILTER (level >= 3 AND attended = 0), 0)::BIGINT AS did_not_attend, coalesce(sum(n) FILTER (died), 0)::BIGINT AS died,
  coalesce(sum(n) FILTER (person_hurt IN ('scratched', 'bitten')), 0)::BIGINT AS person_hurt
FROM alike
GROUP BY month
ORDER BY month
