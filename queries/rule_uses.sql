-- name: rule_uses
-- answers: How often would each flag of a rules file have fired on the calls already taken, been ruled out, or stayed
--   undecided? By name it asks about the rules in force.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: flag, position in the rules file, from 0
-- column: species, of the animal; empty if not recorded
-- column: fired, episodes on which the flag fires
-- column: unknown, episodes on which it neither fires nor is ruled out
-- column: ruled_out, the other episodes
-- row: one row per flag and species
WITH c AS (SELECT * FROM cases WHERE month BETWEEN $from_month AND $to_month)
SELECT unnest(range({{nTried}}))::INTEGER AS flag, species, unnest(fired) AS fired, unnest(unknown) AS unknown,
  n - unnest(fired) - unnest(unknown) AS ruled_out
FROM (
  SELECT coalesce(species, '') AS species, count(*) AS n, {{triedSums "fired"}} AS fired, {{triedSums "unknown"}} AS unknown
  FROM ({{tried "c"}})
  GROUP BY ALL
)
ORDER BY flag, species
