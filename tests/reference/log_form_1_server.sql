-- The same log on a server: its tables as SQLAlchemy writes those of commit 62d8584 for PostgreSQL.
CREATE OR REPLACE FUNCTION testpour_only_grows() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the log only grows: a correction is a new row'; END $$;
CREATE TABLE facts (
	name TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY (name)
);
CREATE TABLE pours (
	entry SERIAL NOT NULL, 
	pour TEXT NOT NULL, 
	session TEXT DEFAULT '' NOT NULL, 
	made_at TIMESTAMP WITHOUT TIME ZONE NOT NULL, 
	by TEXT DEFAULT '' NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	supersedes INTEGER, 
	void BOOLEAN DEFAULT false NOT NULL, 
	logged_at TIMESTAMP WITHOUT TIME ZONE NOT NULL, 
	PRIMARY KEY (entry), 
	FOREIGN KEY(supersedes) REFERENCES pours (entry)
);
CREATE UNIQUE INDEX one_first_entry ON pours (pour) WHERE supersedes IS NULL;
CREATE UNIQUE INDEX one_correction_of_a_pour ON pours (supersedes);
CREATE TRIGGER no_update_of_pours BEFORE UPDATE ON pours FOR EACH ROW EXECUTE FUNCTION testpour_only_grows();
CREATE TRIGGER no_delete_of_pours BEFORE DELETE ON pours FOR EACH ROW EXECUTE FUNCTION testpour_only_grows();
CREATE TABLE readings (
	entry SERIAL NOT NULL, 
	pour TEXT NOT NULL, 
	reading TEXT NOT NULL, 
	low DOUBLE PRECISION, 
	high DOUBLE PRECISION, 
	age DOUBLE PRECISION, 
	specimen TEXT DEFAULT '' NOT NULL, 
	by TEXT DEFAULT '' NOT NULL, 
	known TEXT NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	supersedes INTEGER, 
	void BOOLEAN DEFAULT false NOT NULL, 
	logged_at TIMESTAMP WITHOUT TIME ZONE NOT NULL, 
	PRIMARY KEY (entry), 
	CONSTRAINT ends_in_order CHECK (low IS NULL OR high IS NULL OR low <= high), 
	FOREIGN KEY(supersedes) REFERENCES readings (entry)
);
CREATE UNIQUE INDEX one_correction_of_a_reading ON readings (supersedes);
CREATE TRIGGER no_update_of_readings BEFORE UPDATE ON readings FOR EACH ROW EXECUTE FUNCTION testpour_only_grows();
CREATE TRIGGER no_delete_of_readings BEFORE DELETE ON readings FOR EACH ROW EXECUTE FUNCTION testpour_only_grows();
CREATE TABLE settings (
	entry INTEGER NOT NULL, 
	factor TEXT NOT NULL, 
	number DOUBLE PRECISION, 
	text TEXT, 
	PRIMARY KEY (entry, factor), 
	FOREIGN KEY(entry) REFERENCES pours (entry)
);
CREATE TRIGGER no_update_of_settings BEFORE UPDATE ON settings FOR EACH ROW EXECUTE FUNCTION testpour_only_grows();
CREATE TRIGGER no_delete_of_settings BEFORE DELETE ON settings FOR EACH ROW EXECUTE FUNCTION testpour_only_grows();
INSERT INTO facts ("name", "value") VALUES ('schema', '1');
INSERT INTO facts ("name", "value") VALUES ('unit of catalyst', '%');
INSERT INTO facts ("name", "value") VALUES ('unit of pigment', '%');
INSERT INTO facts ("name", "value") VALUES ('unit of thickness', 'mm');
INSERT INTO facts ("name", "value") VALUES ('unit of cover', '');
INSERT INTO facts ("name", "value") VALUES ('unit of post_cure_temperature', 'degC');
INSERT INTO facts ("name", "value") VALUES ('unit of post_cure_time', 'h');
INSERT INTO facts ("name", "value") VALUES ('unit of room_temperature', 'degC');
INSERT INTO facts ("name", "value") VALUES ('unit of humidity', '%');
INSERT INTO facts ("name", "value") VALUES ('unit of resin_lot', '');
INSERT INTO facts ("name", "value") VALUES ('unit of catalyst_lot', '');
INSERT INTO facts ("name", "value") VALUES ('unit of gel_time', 'min');
INSERT INTO facts ("name", "value") VALUES ('unit of time_to_peak', 'min');
INSERT INTO facts ("name", "value") VALUES ('unit of peak_temperature', 'degC');
INSERT INTO facts ("name", "value") VALUES ('unit of tack', 'grade');
INSERT INTO facts ("name", "value") VALUES ('unit of hardness', 'Shore D');
INSERT INTO facts ("name", "value") VALUES ('unit of opacity', 'grade');
INSERT INTO facts ("name", "value") VALUES ('unit of defects', 'grade');
INSERT INTO pours ("entry", "pour", "session", "made_at", "by", "note", "supersedes", "void", "logged_at") VALUES (1, 'P01', 'S1', '2026-03-02 10:00:00.000000', 'KM', 'it''s first', NULL, false, '2026-11-25 03:19:00.245881');
INSERT INTO pours ("entry", "pour", "session", "made_at", "by", "note", "supersedes", "void", "logged_at") VALUES (2, 'P02', 'S1', '2026-03-02 10:12:00.000000', '', '', NULL, false, '2026-11-25 03:19:00.258051');
INSERT INTO pours ("entry", "pour", "session", "made_at", "by", "note", "supersedes", "void", "logged_at") VALUES (3, 'P03', 'S2', '2026-03-03 09:00:00.000000', '', '', NULL, false, '2026-11-25 03:19:00.270036');
INSERT INTO pours ("entry", "pour", "session", "made_at", "by", "note", "supersedes", "void", "logged_at") VALUES (4, 'P02', 'S1', '2026-03-02 10:12:00.000000', '', 'Corrected: scale not zeroed', 2, false, '2026-11-25 03:19:01.494833');
INSERT INTO pours ("entry", "pour", "session", "made_at", "by", "note", "supersedes", "void", "logged_at") VALUES (5, 'P03', 'S2', '2026-03-03 09:00:00.000000', '', 'Withdrawn: spilt', 3, true, '2026-11-25 03:19:01.510436');
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (1, 'catalyst', 1.5, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (1, 'cover', 1.0, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (1, 'thickness', 12.7, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (1, 'room_temperature', 18.3, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (1, 'resin_lot', NULL, 'drum 3');
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (2, 'catalyst', 2.0, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (2, 'room_temperature', 18.3, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (3, 'catalyst', 1.0, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (3, 'room_temperature', 21.0, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (4, 'room_temperature', 18.3, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (4, 'catalyst', 2.5, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (5, 'catalyst', 1.0, NULL);
INSERT INTO settings ("entry", "factor", "number", "text") VALUES (5, 'room_temperature', 21.0, NULL);
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (1, 'P01', 'gel_time', 20.0, 25.0, NULL, '', 'KM', 'between', '', NULL, false, '2026-11-25 03:19:00.283938');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (2, 'P01', 'gel_time', 24.0, 24.0, NULL, '', 'KM', 'exact', 'Corrected: watch read wrong', 1, false, '2026-11-25 03:19:00.291475');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (3, 'P01', 'tack', 1.0, 1.0, 24.0, '', '', 'exact', '', NULL, false, '2026-11-25 03:19:00.314964');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (4, 'P02', 'gel_time', 120.0, NULL, NULL, '', '', 'not yet', '', NULL, false, '2026-11-25 03:19:01.433913');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (5, 'P01', 'hardness', 77.0, 77.0, 24.0, 'a', '', 'exact', '', NULL, false, '2026-11-25 03:19:01.435451');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (6, 'P01', 'hardness', 78.0, 78.0, 24.0, 'a', '', 'exact', '', NULL, false, '2026-11-25 03:19:01.450064');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (7, 'P01', 'hardness', 76.0, 76.0, 24.0, 'a', '', 'exact', '', NULL, false, '2026-11-25 03:19:01.466089');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (8, 'P02', 'opacity', 1.0, 1.0, 24.0, '', '', 'exact', '', NULL, false, '2026-11-25 03:19:01.474377');
INSERT INTO readings ("entry", "pour", "reading", "low", "high", "age", "specimen", "by", "known", "note", "supersedes", "void", "logged_at") VALUES (9, 'P02', 'opacity', 1.0, 1.0, 24.0, '', '', 'exact', 'Withdrawn: wrong lamp', 8, true, '2026-11-25 03:19:01.482130');
SELECT setval('pours_entry_seq', (SELECT MAX(entry) FROM pours));
SELECT setval('readings_entry_seq', (SELECT MAX(entry) FROM readings));
