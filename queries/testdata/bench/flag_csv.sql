-- The CSV that BenchmarkFlagTables gives to pandas, and the relation through which our
-- own question reads the same CSV. FLAGS, PATH, COLUMNS, FIRED and UNKNOWN are filled in.
COPY (SELECT month, coalesce(species, '') AS species, need_same_day AS need, {FLAGS} FROM cases) TO {PATH} (FORMAT csv, HEADER);
-- and
CREATE VIEW cases AS
SELECT month, species, need AS need_same_day, need AS need_emergency, TIMESTAMP '2025-05-01' AS started_at, {FIRED} AS fired_0, {UNKNOWN} AS unknown_0
FROM read_csv({PATH}, header = true, columns = {COLUMNS});
