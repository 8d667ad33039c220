-- name: unit_counts
-- answers: What did each site and each advisor advise, beside what the rules demand?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: kind, site or advisor
-- column: unit, name of the site, pseudonym of the advisor; empty if not recorded
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: rule_level, level the rules demand, 0 undetermined to 4 emergency
-- column: safety_net, 1 if the owner was told when to ring again, 0 if not, -1 not recorded
-- column: n, episodes
-- row: one row per unit, level, rule level and safety net that occurs
WITH c AS (
  SELECT coalesce(site, '') AS site, coalesce(advisor::VARCHAR, '') AS advisor, level, rule_level,
    CASE WHEN safety_net THEN 1 WHEN NOT safety_net THEN 0 ELSE -1 END AS safety_net, count(*) AS n
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
SELECT kind, unit, level, rule_level, safety_net, sum(n)::BIGINT AS n
FROM c UNPIVOT (unit FOR kind IN (site, advisor))
GROUP BY ALL
ORDER BY ALL
