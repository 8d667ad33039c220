-- One row an episode that has outcomes: what a case definition makes of them.
-- The numbers in braces are filled by casedef.SQL; see its comment for the
-- relations ep and oc. The steps follow the rules in the package comment and
-- the names of eval.go.
WITH read AS (
  -- Outcomes with their time from the first contact, in microseconds.
  SELECT oc.episode, oc.outcome, oc.practice, oc.diagnosis_group, oc.no_attend_reason, oc.selection_p,
    coalesce(oc.source, '') AS source,
    CASE oc.route WHEN 'advised_visit' THEN 1 WHEN 'own_decision' THEN 2 WHEN 'call_back' THEN 3 WHEN 'audit' THEN 4 ELSE 0 END AS route,
    CASE oc.vet_level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 ELSE 0 END AS lv,
    coalesce(oc.disposition, '') AS disposition,
    coalesce(nullif(oc.euthanasia_reason, ''), 'unknown') AS euthanasia_reason,
    CASE oc.independent WHEN 'yes' THEN 1 WHEN 'no' THEN 0 ELSE -1 END AS independent,
    oc.time_critical, oc.responded,
    epoch_us(oc.seen_at) - epoch_us(ep.started_at) AS after_us,
    epoch_us({contact}) - epoch_us(ep.started_at) AS contact_us
  FROM oc JOIN ep ON oc.episode = ep.episode
), usable AS (
  SELECT *,
    responded IS DISTINCT FROM false AND disposition <> 'lost' AND after_us >= -{early} AS usable,
    disposition = 'did_not_attend' AS no_show,
    lv > 0 OR disposition <> '' OR time_critical IS NOT NULL AS content,
    CASE disposition WHEN 'lost' THEN 1 WHEN 'did_not_attend' THEN 2 WHEN 'sent_home' THEN 3 WHEN 'treated_sent_home' THEN 4
      WHEN 'referred' THEN 5 WHEN 'admitted' THEN 6 WHEN 'operated' THEN 7 WHEN 'euthanised' THEN 8 WHEN 'died' THEN 9
      WHEN 'dead_on_arrival' THEN 10 ELSE 0 END AS rank
  FROM read
), kind AS (
  SELECT *,
    source = 'vet' AND usable AND content AND NOT no_show AS vet,
    source = 'owner_follow_up' AND usable AND (content OR coalesce(responded, false)) AS owner
  FROM usable
), timed AS (
  SELECT *,
    vet AND after_us <= {window} AS in_vet,
    vet AND after_us > {window} OR owner AND contact_us >= {window} AS late,
    route IN (1, 2) AND usable AND NOT no_show AND (source = 'vet' OR owner) AS visit
  FROM kind
), looked AS (
  -- The vet's last look that tells the events, and the last that tells of
  -- time-critical treatment.
  SELECT *,
    visit OR vet OR owner AS candidate,
    max(after_us) FILTER (WHERE in_vet AND disposition NOT IN ('', 'referred')) OVER (PARTITION BY episode) AS last_look,
    max(after_us) FILTER (WHERE in_vet AND time_critical IS NOT NULL) OVER (PARTITION BY episode) AS last_critical
  FROM timed
), told AS (
  SELECT *,
    last_look IS NULL OR after_us > last_look AS unseen,
    last_critical IS NULL OR after_us > last_critical AS untreated,
    disposition IN ('admitted', 'operated') AS is_admitted,
    disposition = 'operated' AS is_surgery,
    disposition IN ('died', 'dead_on_arrival') AS is_death,
    disposition = 'euthanised' AND euthanasia_reason IN ({reasons}) AS is_euthanasia,
    coalesce(time_critical, false) AS is_critical,
    rank >= 8 AND (vet OR owner AND (last_look IS NULL OR after_us > last_look OR after_us > {window})) AS reported_death
  FROM looked
), summed AS (
  SELECT episode,
    first({practice: practice, route: route, source: source, after_us: after_us, independent: independent, diagnosis_group: diagnosis_group}
      ORDER BY {order}) FILTER (WHERE candidate) AS shown,
    first(euthanasia_reason ORDER BY {order}) FILTER (WHERE disposition = 'euthanised' AND reported_death) AS euthanasia_reason,
    first(no_attend_reason ORDER BY coalesce(no_attend_reason, '') = '', after_us, outcome)
      FILTER (WHERE (no_show OR coalesce(no_attend_reason, '') <> '') AND usable AND source <> 'panel') AS no_attend_reason,
    bool_or((no_show OR coalesce(no_attend_reason, '') <> '') AND usable AND source <> 'panel') AS away,
    bool_or(source = 'vet' AND usable AND NOT no_show AND after_us <= {window} OR owner AND
      disposition IN ('treated_sent_home', 'referred', 'admitted', 'operated', 'euthanised', 'dead_on_arrival')) AS seen,
    coalesce(max(lv) FILTER (WHERE source = 'panel'), 0) AS panel,
    bool_or(in_vet) AS in_vet, bool_or(late) AS late,
    bool_or(in_vet AND lv > 0) AS vet_level_known, bool_or(owner AND after_us <= {h_vet_level} AND lv > 0) AS owner_level_known,
    bool_or(in_vet AND after_us <= {h_vet_level} AND lv >= 4) AS vet_e, bool_or(in_vet AND after_us <= {h_vet_level} AND lv >= 3) AS vet_s,
    bool_or(owner AND after_us <= {h_vet_level} AND lv >= 4) AS owner_e, bool_or(owner AND after_us <= {h_vet_level} AND lv >= 3) AS owner_s,
    bool_or(last_look IS NOT NULL) AS answered, bool_or(last_critical IS NOT NULL) AS answered_critical,
    {events},
    coalesce(max(lv) FILTER (WHERE in_vet), 0) AS level_vet,
    coalesce(max(lv) FILTER (WHERE owner AND after_us <= {window}), 0) AS level_owner,
    coalesce(max(lv) FILTER (WHERE late AND lv < 3 AND NOT (owner AND after_us <= {window})), 0) AS level_late,
    coalesce(max(rank) FILTER (WHERE in_vet OR owner AND after_us <= {window} AND unseen), 0) AS rank_within,
    coalesce(max(rank) FILTER (WHERE late AND NOT (in_vet OR owner AND after_us <= {window} AND unseen)), 0) AS rank_late,
    coalesce(max(rank) FILTER (WHERE source <> 'panel' AND rank <= 2), 0) AS rank_rest,
    bool_or(route = 4) AS audit_selected,
    max(selection_p) FILTER (WHERE route = 4) AS audit_p,
    bool_or(route = 4 AND (vet OR owner)) AS audit_responded,
    count(*) AS outcomes, bool_or(reported_death) AS died
  FROM told GROUP BY episode
), components AS (
  SELECT *,
    {level_e} AS comp_level_emergency,
    {level_s} AS comp_level_same_day,
    {components}
  FROM summed
), needs AS (
  SELECT *, {need_emergency} AS needed_e, {need_same_day} AS needed_s FROM components
)
SELECT episode,
  nullif(shown.practice, '') AS practice,
  CAST(coalesce(shown.route, 0) AS TINYINT) AS route,
  CAST(CASE WHEN panel > 0 THEN 3 WHEN shown.source = 'vet' THEN 1 WHEN shown.source = 'owner_follow_up' THEN 2 ELSE 0 END AS TINYINT) AS outcome_source,
  CAST(CASE WHEN shown.route IS NOT NULL THEN greatest(shown.after_us, 0) // 60000000 END AS INTEGER) AS outcome_minutes,
  CAST(CASE WHEN level_vet > 0 THEN level_vet WHEN level_owner > 0 THEN level_owner ELSE level_late END AS TINYINT) AS vet_level,
  CASE CASE WHEN rank_within > 0 THEN rank_within WHEN rank_late > 0 THEN rank_late ELSE rank_rest END
    WHEN 1 THEN 'lost' WHEN 2 THEN 'did_not_attend' WHEN 3 THEN 'sent_home' WHEN 4 THEN 'treated_sent_home' WHEN 5 THEN 'referred'
    WHEN 6 THEN 'admitted' WHEN 7 THEN 'operated' WHEN 8 THEN 'euthanised' WHEN 9 THEN 'died' WHEN 10 THEN 'dead_on_arrival' END AS disposition,
  euthanasia_reason,
  nullif(shown.diagnosis_group, '') AS diagnosis_group,
  CAST(coalesce(shown.independent, -1) AS TINYINT) AS independent,
  CAST(comp_level_emergency AS TINYINT) AS comp_level_emergency,
  CAST(comp_level_same_day AS TINYINT) AS comp_level_same_day,
  CAST(comp_admitted AS TINYINT) AS comp_admitted,
  CAST(comp_surgery AS TINYINT) AS comp_surgery,
  CAST(comp_time_critical AS TINYINT) AS comp_time_critical,
  CAST(comp_death AS TINYINT) AS comp_death,
  CAST(comp_euthanasia AS TINYINT) AS comp_euthanasia,
  CAST(CASE WHEN panel > 0 THEN (panel >= 4)::INTEGER ELSE needed_e END AS TINYINT) AS need_emergency,
  CAST(CASE WHEN panel > 0 THEN (panel >= 3)::INTEGER ELSE needed_s END AS TINYINT) AS need_same_day,
  CAST(CASE WHEN seen THEN 1 WHEN away THEN 0 ELSE -1 END AS TINYINT) AS attended,
  CASE WHEN NOT seen AND away THEN nullif(no_attend_reason, '') END AS no_attend_reason,
  audit_selected, audit_p, audit_responded,
  CAST(least(outcomes, 32767) AS SMALLINT) AS outcomes,
  CAST({conflicts}
    + (panel > 0 AND needed_e >= 0 AND (panel >= 4)::INTEGER <> needed_e)::INTEGER
    + (panel > 0 AND needed_s >= 0 AND (panel >= 3)::INTEGER <> needed_s)::INTEGER AS SMALLINT) AS conflicts,
  died
FROM needs
