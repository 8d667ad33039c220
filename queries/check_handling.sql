-- name: check_handling
-- answers: How often was each check done, and why not, by species and by how the animal was handled?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: finding, id of the finding
-- column: species, of the animal; empty if not recorded
-- column: handling, free, held, wrapped, refused; empty if not recorded
-- column: state, done, not_possible, declined or not_asked
-- column: reason, why it was not done; empty if not stated
-- column: n, checks
-- row: one row per finding, species, handling, state and reason
SELECT k.finding, coalesce(a.species, '') AS species, coalesce(k.handling, '') AS handling, k.state, coalesce(k.reason, '') AS reason, count(*) AS n
FROM checks k LEFT JOIN (SELECT call, species FROM calls WHERE episode_month BETWEEN $from_month AND $to_month) a ON a.call = k.call
WHERE k.episode_month BETWEEN $from_month AND $to_month AND k.observer IS DISTINCT FROM 'vet'
GROUP BY ALL
ORDER BY ALL
