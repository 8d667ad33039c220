-- name: flag_tables
-- answers: What are the two-by-two tables of every flag against need, by species and month? Where the flag or need is
--   not known stands beside each table.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- column: flag, position in the rules file, from 0
-- column: month, of the first contact, yyyymm
-- column: species, of the animal; empty if not recorded
-- column: mature, whether outcomes had time to arrive
-- column: tp, the flag fired on an animal in need
-- column: fp, the flag fired on an animal not in need
-- column: fn, the flag was ruled out on an animal in need
-- column: tn, the flag was ruled out on an animal not in need
-- column: unknown_needed, the flag neither fired nor was ruled out, animal in need
-- column: unknown_not_needed, likewise, animal not in need
-- column: present_unverified, the flag fired and need is not known
-- column: absent_unverified, the flag was ruled out and need is not known
-- column: unknown_unverified, neither the flag nor need is known
-- row: one row per flag, month, species and maturity that occurs
WITH patterns AS (
  SELECT month, species, CASE WHEN $cut::INTEGER = 4 THEN need_emergency ELSE need_same_day END AS need, started_at < $mature_before AS mature{{words}}, count(*) AS n
  FROM cases
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
), counted AS (
  SELECT month, coalesce(species, '') AS species, need, mature, sum(n)::BIGINT AS n, {{flagTotals "present"}} AS present, {{flagTotals "unknown"}} AS unknown
  FROM patterns
  GROUP BY ALL
), cells AS (
  SELECT unnest(range({{nFlags}}))::INTEGER AS flag, month, species, mature, need,
    unnest(present) AS present, n - unnest(present) - unnest(unknown) AS absent, unnest(unknown) AS unknown
  FROM counted
)
SELECT flag, month, species, mature,
  coalesce(sum(present) FILTER (need = 1), 0)::BIGINT AS tp, coalesce(sum(present) FILTER (need = 0), 0)::BIGINT AS fp,
  coalesce(sum(absent) FILTER (need = 1), 0)::BIGINT AS fn, coalesce(sum(absent) FILTER (need = 0), 0)::BIGINT AS tn,
  coalesce(sum(unknown) FILTER (need = 1), 0)::BIGINT AS unknown_needed, coalesce(sum(unknown) FILTER (need = 0), 0)::BIGINT AS unknown_not_needed,
  coalesce(sum(present) FILTER (need = -1), 0)::BIGINT AS present_unverified, coalesce(sum(absent) FILTER (need = -1), 0)::BIGINT AS absent_unverified,
  coalesce(sum(unknown) FILTER (need = -1), 0)::BIGINT AS unknown_unverified
FROM cells
GROUP BY flag, month, species, mature
ORDER BY flag, month, species, mature
