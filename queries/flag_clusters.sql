-- name: flag_clusters
-- answers: How do episodes of one animal, owner, advisor or practice resemble each other in need and in each flag?
--   Counts of clusters by their totals, for limits that allow for clusters.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- param: cluster cluster, animal, owner, advisor or practice
-- column: flag, position in the rules file, from 0
-- column: need, 1 needed, 0 not needed
-- column: episodes, mature verified episodes of one such cluster with that need on which the flag was assessed
-- column: present, on how many of them the flag fired
-- column: clusters, how many clusters show these totals
-- row: one row per flag, need and pair of totals; episodes without the cluster's name are left out
WITH verified AS (
  SELECT {{cluster}} AS cluster, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need{{words}}
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month AND started_at < $mature_before
    AND CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END >= 0 AND {{cluster}} IS NOT NULL
), sizes AS MATERIALIZED (
  SELECT cluster, need, count(*) AS n{{anyWords}} FROM verified GROUP BY cluster, need
), patterns AS (
  -- Most animals have one episode, and few patterns of flags occur among them:
  -- those are counted by their bits; only the others need sums of their own.
  SELECT need, n, {{flags "present"}} AS present, {{flags "unknown"}} AS unknown, clusters
  FROM (SELECT need, 1::BIGINT AS n{{words}}, count(*) AS clusters FROM sizes WHERE n = 1 GROUP BY ALL)
  GROUP BY need, n{{words}}, clusters
  UNION ALL
  SELECT need, n, present, unknown, count(*) AS clusters
  FROM (
    SELECT v.cluster, v.need, count(*) AS n, {{flags "present"}} AS present, {{flags "unknown"}} AS unknown
    FROM verified v SEMI JOIN (SELECT cluster, need FROM sizes WHERE n > 1) s ON v.cluster = s.cluster AND v.need = s.need
    GROUP BY v.cluster, v.need
  )
  GROUP BY ALL
)
SELECT flag, need, n - unknown AS episodes, present, sum(clusters)::BIGINT AS clusters
FROM (
  SELECT unnest(range({{nFlags}}))::INTEGER AS flag, need, n, unnest(present) AS present, unnest(unknown) AS unknown, clusters
  FROM patterns
)
WHERE n > unknown
GROUP BY flag, need, n - unknown, present
ORDER BY ALL
