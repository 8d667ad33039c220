-- One attempt a line, of everything that a SELECT of the user's own must not
-- do. Before the first colon what must come of it: refused (the text is to blame), stopped
-- (it ran into a limit). STORE and OUT stand for the store's folder and for an
-- empty folder beside it.
-- Reading files
refused: SELECT * FROM read_csv('/etc/passwd')
refused: SELECT * FROM read_csv_auto('/etc/passwd')
refused: SELECT * FROM read_text('/etc/passwd')
refused: SELECT * FROM read_blob('/etc/shadow')
refused: SELECT * FROM read_json('/etc/passwd')
refused: SELECT * FROM read_json_auto('STORE/manifest.json')
refused: SELECT * FROM read_json_objects('STORE/manifest.json')
refused: SELECT * FROM read_ndjson('STORE/manifest.json')
refused: SELECT * FROM read_parquet('STORE/current/**/*.parquet')
refused: SELECT * FROM parquet_scan('STORE/history/**/*.parquet')
refused: SELECT * FROM parquet_metadata('STORE/current/calls/x.parquet')
refused: SELECT * FROM parquet_kv_metadata('STORE/current/calls/x.parquet')
refused: SELECT * FROM parquet_schema('STORE/current/calls/x.parquet')
refused: SELECT * FROM sniff_csv('/etc/passwd')
refused: SELECT * FROM glob('/**')
refused: SELECT * FROM '/etc/passwd'
refused: SELECT * FROM '/etc/hosts.csv'
refused: SELECT * FROM 'STORE/manifest.json'
refused: SELECT * FROM "STORE/manifest.json"
refused: FROM 'OUT/x.parquet'
refused: SELECT (SELECT count(*) FROM '/etc/hosts.csv')
refused: SELECT * FROM calls WHERE call IN (SELECT a FROM 'x.csv')
refused: WITH a AS (SELECT * FROM 'x.csv') SELECT * FROM a
refused: WITH "x.csv" AS (SELECT 1) SELECT * FROM "x.csv"
refused: WITH "/etc/passwd" AS (SELECT 1) SELECT * FROM "/etc/passwd"
refused: SELECT * FROM (VALUES (1)) t(a), LATERAL (SELECT * FROM 'x.csv')
refused: SELECT * FROM calls UNION ALL SELECT * FROM 'x.csv'
refused: SELECT * FROM (PIVOT 'x.csv' ON a IN (1) USING count(*))
refused: SELECT * FROM (UNPIVOT 'x.csv' ON a INTO NAME n VALUE v)
refused: SELECT * FROM calls SEMI JOIN 'x.csv' USING (call)
refused: SELECT [x FOR x IN (SELECT a FROM 'x.csv')]
refused: SELECT * FROM calls ORDER BY (SELECT a FROM 'x.csv')
refused: SELECT * FROM calls LIMIT (SELECT count(*) FROM 'x.csv')
refused: SELECT count(*) FILTER (WHERE EXISTS (FROM 'x.csv')) FROM calls
refused: SELECT sum(1) OVER (PARTITION BY (SELECT a FROM 'x.csv')) FROM calls
refused: SELECT * FROM st_read('x')
refused: SELECT getenv('HINDCHECK_KEY')
refused: SELECT getenv('HOME')
-- Writing files
refused: COPY calls TO 'OUT/x.csv'
refused: COPY (SELECT 1) TO 'OUT/x.parquet' (FORMAT parquet)
refused: COPY (SELECT 1) TO 'STORE/manifest.json'
refused: COPY (SELECT 1) TO '/dev/stdout'
refused: EXPORT DATABASE 'OUT'
refused: ATTACH 'OUT/x.duckdb'
refused: ATTACH ':memory:' AS other
refused: CREATE TABLE t AS SELECT 1
refused: CREATE TEMP TABLE t AS SELECT 1
refused: CREATE VIEW calls2 AS SELECT * FROM calls
refused: CREATE OR REPLACE VIEW calls AS SELECT 1
refused: CREATE MACRO m() AS 1
refused: CREATE SECRET s (TYPE s3)
refused: CREATE PERSISTENT SECRET s (TYPE http)
refused: DROP VIEW calls
refused: DROP TABLE cases
refused: ALTER VIEW calls RENAME TO c
refused: INSERT INTO cases SELECT * FROM cases
refused: DELETE FROM cases
refused: UPDATE cases SET level = 1
refused: TRUNCATE cases
refused: VACUUM
refused: CHECKPOINT
refused: FORCE CHECKPOINT
refused: WITH t AS (INSERT INTO cases VALUES (1) RETURNING *) SELECT * FROM t
refused: CALL enable_logging(storage = 'file', storage_path = 'OUT')
refused: SELECT * FROM enable_logging()
refused: FROM enable_logging('QueryLog', storage = 'file')
refused: SELECT * FROM enable_profiling()
refused: CALL enable_profiling(format = 'json', save_location = 'OUT/p.json')
refused: PRAGMA enable_profiling
refused: SELECT write_log('x')
refused: EXPLAIN ANALYZE SELECT 1
refused: EXPLAIN SELECT 1
-- Extensions, network, secrets
refused: INSTALL httpfs
refused: LOAD httpfs
refused: LOAD 'OUT/x.duckdb_extension'
refused: FORCE INSTALL spatial FROM community
refused: UPDATE EXTENSIONS
refused: SELECT * FROM read_csv('https://example.org/x.csv')
refused: SELECT * FROM 'https://example.org/x.parquet'
refused: SELECT * FROM 's3://bucket/x.parquet'
refused: SELECT * FROM duckdb_secrets()
refused: SELECT * FROM which_secret('s3://a', 's3')
refused: SELECT * FROM duckdb_extensions()
-- Settings and other statements
refused: SET memory_limit = '100GB'
refused: SET enable_external_access = true
refused: SET GLOBAL threads = 64
refused: RESET lock_configuration
refused: SET VARIABLE x = 1
refused: PRAGMA database_list
refused: PRAGMA version
refused: USE memory
refused: BEGIN
refused: COMMIT
refused: PREPARE p AS SELECT 1
refused: EXECUTE p
refused: DEALLOCATE p
refused: DETACH memory
refused: COMMENT ON VIEW calls IS 'x'
refused: SELECT 1; DROP VIEW calls
refused: DROP VIEW calls; SELECT 1
refused: SELECT 1; SELECT 2
refused: SELECT 1; COPY (SELECT 1) TO 'OUT/x.csv'
refused: SHOW TABLES
refused: DESCRIBE calls
refused: SUMMARIZE calls
refused: SELECT * FROM (DESCRIBE calls)
refused: SELECT * FROM (SHOW ALL TABLES)
refused: PIVOT calls ON species USING count(*)
-- Looking behind the views
refused: SELECT * FROM duckdb_settings()
refused: SELECT * FROM duckdb_settings
refused: SELECT * FROM duckdb_views()
refused: SELECT sql FROM duckdb_views
refused: SELECT * FROM duckdb_databases
refused: SELECT * FROM pragma_database_list
refused: SELECT * FROM sqlite_master
refused: SELECT * FROM information_schema.tables
refused: SELECT * FROM pg_catalog.pg_class
refused: SELECT * FROM pg_class
refused: SELECT * FROM main.calls
refused: SELECT * FROM memory.main.calls
refused: SELECT * FROM calls AT (VERSION => 1)
refused: WITH duckdb_tables AS (SELECT 1) SELECT * FROM (SELECT * FROM duckdb_tables)
refused: WITH pg_class AS (SELECT 1) SELECT 1 FROM pg_class
refused: SELECT * FROM query('SELECT * FROM duckdb_settings()')
refused: SELECT * FROM query_table('duckdb_settings')
refused: SELECT * FROM test_all_types()
refused: SELECT * FROM duckdb_memory()
refused: SELECT * FROM duckdb_temporary_files()
refused: SELECT * FROM duckdb_logs
refused: SELECT * FROM pragma_table_info('calls')
refused: SELECT * FROM pragma_storage_info('calls')
refused: SELECT * FROM repeat(1, 10)
refused: SELECT current_setting('secret_directory')
refused: SELECT system.main.current_setting('home_directory')
refused: SELECT getvariable('x')
refused: SELECT json_serialize_plan('SELECT 1')
refused: SELECT * FROM json_execute_serialized_sql('{}')
refused: SELECT json_deserialize_sql('{}')
refused: SELECT nextval('s')
refused: SELECT setseed(0.5)
refused: SELECT random()
refused: SELECT error('x')
refused: SELECT sleep_ms(100000)
refused: SELECT pg_sleep(100)
refused: SELECT pg_get_viewdef(1)
refused: SELECT list_transform([1], x -> getenv('HOME'))
refused: SELECT coalesce(NULL, getenv('HOME'))
refused: SELECT 1 WHERE getenv('HOME') IS NOT NULL
refused: SELECT 1 GROUP BY getenv('HOME')
refused: SELECT 1 ORDER BY getenv('HOME')
refused: SELECT max(getenv('HOME')) OVER ()
refused: SELECT 'x' COLLATE nosuch
refused: SELECT x::nosuch_type FROM range(1) t(x)
refused: SELECT 1 = $1
refused: SELECT ?
refused: 
refused: ;
refused: -- a remark
refused: SELECT
refused: SELECT [1, 2]
refused: SELECT {'a': 1}
refused: SELECT MAP {'a': 1}
refused: SELECT INTERVAL 3 DAYS
refused: SELECT 170141183460469231731687303715884105727
-- Time and memory
stopped: SELECT count(*) FROM range(100000000) a, range(100000000) b WHERE a.range * 7 % 11 = b.range % 13
stopped: WITH RECURSIVE t AS (SELECT 1 AS a UNION ALL SELECT a + 1 FROM t) SELECT count(*) FROM t
stopped: SELECT repeat('x', 2000000000)
stopped: SELECT lpad('', 2000000000, 'x') || rpad('', 2000000000, 'x')
stopped: SELECT length(list_aggregate(range(1000000000), 'string_agg', ','))
stopped: SELECT count(DISTINCT hash(range)) FROM range(100000000000)
stopped: SELECT * FROM range(3000000000) ORDER BY hash(range)
stopped: SELECT string_agg(repeat('y', 1000000), '') FROM range(1000000)
