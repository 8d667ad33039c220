-- name: advice_clusters
-- answers: How do episodes of one animal, owner, advisor or practice resemble each other in need and advice?
--   Counts of clusters by their totals, for limits that allow for clusters.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- param: cluster cluster, animal, owner, advisor or practice
-- column: need, 1 needed, 0 not needed
-- column: episodes, mature verified episodes of one such cluster with that need
-- column: escalated, how many of them were advised at or above the cut
-- column: clusters, how many clusters show these totals
-- row: one row per need and pair of totals; episodes without the cluster's name are left out
SELECT need, episodes, escalated, count(*) AS clusters
FROM (
  SELECT {{cluster}} AS cluster, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need,
    count(*) AS episodes, count(*) FILTER (level >= $cut) AS escalated
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before AND CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END >= 0 AND {{cluster}} IS NOT NULL
  GROUP BY ALL
)
GROUP BY ALL
ORDER BY ALL
