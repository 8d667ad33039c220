-- name: warning_counts
-- answers: How many episodes of each month carry each early warning, and of how many is it on record at all whether
--   somebody complained?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: month, yyyymm
-- column: episodes, by first clinical contact
-- column: recontact_24h, the owner rang again within 24 hours
-- column: raised_later, a later contact was advised higher
-- column: died, died or was put to sleep
-- column: complained, with a formal complaint on record
-- column: complaints_looked_up, episodes on which the register of complaints was asked
-- column: any_warning, with at least one of these
-- row: one row per month with episodes
WITH register AS (
  SELECT episode, bool_or(formal_complaint <> 'none') AS complained, bool_or(formal_complaint IS NOT NULL) AS asked
  FROM calls
  WHERE episode_month BETWEEN $from_month AND $to_month AND episode IS NOT NULL
  GROUP BY episode
), marked AS (
  SELECT c.month, c.recontact_24h, c.level > 0 AND c.later_level > c.level AS raised_later, coalesce(c.died, false) AS died,
    coalesce(r.complained, false) AS complained, coalesce(r.asked, false) AS asked
  FROM cases c LEFT JOIN register r USING (episode)
  WHERE c.month BETWEEN $from_month AND $to_month
)
SELECT month, count(*) AS episodes, count(*) FILTER (recontact_24h) AS recontact_24h, count(*) FILTER (raised_later) AS raised_later,
  count(*) FILTER (died) AS died, count(*) FILTER (complained) AS complained, count(*) FILTER (asked) AS complaints_looked_up,
  count(*) FILTER (recontact_24h OR raised_later OR died OR complained) AS any_warning
FROM marked
GROUP BY month
ORDER BY month
