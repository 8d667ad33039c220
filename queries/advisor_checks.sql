-- name: advisor_checks
-- answers: How were the home checks of each advisor's calls done?
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: advisor, pseudonym of the advisor
-- column: finding, id of the finding
-- column: done, read by the owner
-- column: not_possible, tried, could not be done
-- column: declined, declined or unsafe
-- column: not_asked, not asked, for another reason than the next
-- column: stopped_early, not asked because an emergency sign had ended the questions
-- row: one row per advisor and finding with a record of the check
SELECT c.advisor::VARCHAR AS advisor, k.finding, count(*) FILTER (k.state = 'done') AS done, count(*) FILTER (k.state = 'not_possible') AS not_possible,
  count(*) FILTER (k.state = 'declined') AS declined, count(*) FILTER (k.state = 'not_asked' AND coalesce(k.reason, '') <> 'stopped_early') AS not_asked,
  count(*) FILTER (k.state = 'not_asked' AND k.reason = 'stopped_early') AS stopped_early
FROM checks k JOIN calls c USING (call)
WHERE c.episode_month BETWEEN $from_month AND $to_month AND k.episode_month BETWEEN $from_month AND $to_month
  AND c.contact_type = 'clinical' AND c.advisor IS NOT NULL AND k.observer IS DISTINCT FROM 'vet'
GROUP BY ALL
ORDER BY advisor, finding
