-- name: flow
-- answers: Where do episodes go between advice and a known need? The counts of the flow diagram.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: episodes, by first clinical contact
-- column: immature, outcomes have not had time to arrive; the columns below count mature episodes
-- column: no_outcome, no outcome of any kind
-- column: advised_visit, seen as advised
-- column: own_decision, seen because the owner decided so
-- column: call_back, known by systematic follow-up
-- column: audit, known by the audit sample
-- column: lost, followed up but lost or without answer
-- column: unverified, with an outcome that does not settle the need for care on the same day
-- column: needed, needed care on the same day
-- column: not_needed, did not
-- column: audit_selected, drawn for the audit sample
-- column: audit_responded, answered it
-- column: conflicts, episodes whose outcomes disagree
-- row: one row per advised level
SELECT level, count(*) AS episodes, count(*) FILTER (NOT mature) AS immature,
  count(*) FILTER (mature AND route = 0) AS no_outcome, count(*) FILTER (mature AND route = 1) AS advised_visit,
  count(*) FILTER (mature AND route = 2) AS own_decision, count(*) FILTER (mature AND route = 3) AS call_back,
  count(*) FILTER (mature AND route = 4) AS audit, count(*) FILTER (mature AND disposition = 'lost') AS lost,
  count(*) FILTER (mature AND route > 0 AND need_same_day < 0) AS unverified,
  count(*) FILTER (mature AND need_same_day = 1) AS needed, count(*) FILTER (mature AND need_same_day = 0) AS not_needed,
  count(*) FILTER (mature AND audit_selected) AS audit_selected, count(*) FILTER (mature AND audit_responded) AS audit_responded,
  count(*) FILTER (mature AND conflicts > 0) AS conflicts
FROM (SELECT *, coalesce(started_at < $mature_before, false) AS mature FROM cases WHERE month BETWEEN $from_month AND $to_month)
GROUP BY level
ORDER BY level DESC
