-- The calls of BenchmarkReplay before rules are applied: eighteen months, every
-- value following from the number of the call, so that two runs are alike. Most
-- questions are not put in most calls; few answers are abnormal. FINDINGS, FIRST
-- and LAST are filled in.
SELECT i, ('00000000-0000-0000-0000-' || lpad(i::VARCHAR, 12, '0'))::UUID AS episode, ('00000000-0000-0000-0001-' || lpad(i::VARCHAR, 12, '0'))::UUID AS call,
  TIMESTAMP '2025-05-01' + to_seconds((i * (549 * 86400.0 / {TOTAL}))::BIGINT) AS started_at,
  CASE WHEN h % 100 < 55 THEN 'dog' WHEN h % 100 < 88 THEN 'cat' ELSE 'rabbit' END AS species,
  CASE h // 100 % 3 WHEN 0 THEN 'tarnholt' WHEN 1 THEN 'brillowfen' ELSE 'cressmark' END AS site,
  CASE h // 300 % 2 WHEN 0 THEN 'male' ELSE 'female' END AS sex, 'yes' AS neutered,
  CASE h // 600 % 6 WHEN 0 THEN 'large' WHEN 1 THEN 'giant' ELSE 'small' END AS breed_group, 'example' AS complaint,
  nullif(h // 3600 % 190, 0)::INTEGER AS age_months, h, {FINDINGS}
FROM (SELECT i, hash(i)::UBIGINT AS h FROM range({FIRST}, {LAST}) t(i))
