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
-- column: did_not_attend, told to attend and did not
-- column: died, died or put to sleep
-- column: person_hurt, a person was scratched or bitten
-- row: one row per month with episodes
SELECT month, count(*) AS episodes, count(*) FILTER (started_at < $mature_before) AS mature,
  count(*) FILTER (level = 4) AS emergency, count(*) FILTER (level = 3) AS same_day, count(*) FILTER (level = 2) AS soon,
  count(*) FILTER (level = 1) AS home_care, count(*) FILTER (level = 0) AS no_level,
  count(*) FILTER (rule_level = 0) AS undetermined,
  count(*) FILTER (rule_level > 0 AND level > rule_level) AS raised,
  count(*) FILTER (level > 0 AND level < rule_level) AS lowered,
  count(*) FILTER (recontact_24h) AS recontact_24h, count(*) FILTER (later_level > level) AS raised_later,
  count(*) FILTER (safety_net) AS safety_net, count(safety_net) AS safety_net_known,
  count(*) FILTER (route > 0) AS with_outcome, count(*) FILTER (route >= 3) AS followed_up,
  count(*) FILTER (need_same_day >= 0) AS verified, count(*) FILTER (need_same_day = 1) AS needed,
  count(*) FILTER (need_same_day = 1 AND level BETWEEN 1 AND 2) AS missed,
  count(*) FILTER (level >= 3 AND attended = 0) AS did_not_attend, count(*) FILTER (died) AS died,
  count(*) FILTER (person_hurt IN ('scratched', 'bitten')) AS person_hurt
FROM cases
WHERE month BETWEEN $from_month AND $to_month
GROUP BY month
ORDER BY month
