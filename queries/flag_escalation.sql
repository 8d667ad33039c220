-- name: flag_escalation
-- answers: When a flag was present, was the animal escalated, and did the flag stand alone or with others?
--   A flag that itself demands escalation nearly always leads to it: this is compliance, not accuracy.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: flag, position in the rules file, from 0
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: alone, episodes on which only this flag fired
-- column: with_others, episodes on which this flag and others fired
-- column: absent, episodes on which the flag was ruled out
-- column: unknown, episodes on which it neither fired nor was ruled out
-- row: one row per flag and level
WITH patterns AS (
  SELECT level{{words}}, sum(n)::BIGINT AS n
  FROM {{alike ""}}
  WHERE month BETWEEN $from_month AND $to_month
  GROUP BY ALL
), by_level AS (
  SELECT level, {{nFired}} = 1 AS single, sum(n)::BIGINT AS n, {{flagTotals "present"}} AS present, {{flagTotals "unknown"}} AS unknown
  FROM patterns
  GROUP BY ALL
), long AS (
  SELECT level, single, unnest(range({{nFlags}}))::INTEGER AS flag, unnest(present) AS present,
    unnest(unknown) AS unknown, n
  FROM by_level
)
SELECT flag, level,
  coalesce(sum(present) FILTER (single), 0)::BIGINT AS alone,
  coalesce(sum(present) FILTER (NOT single), 0)::BIGINT AS with_others,
  sum(n - present - unknown)::BIGINT AS absent, sum(unknown)::BIGINT AS unknown
FROM long
GROUP BY ALL
ORDER BY flag, level
