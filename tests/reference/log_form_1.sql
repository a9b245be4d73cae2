-- A log of form 1 as the kit of commit 62d8584 wrote it, taken with: sqlite3 log.sqlite .dump
BEGIN TRANSACTION;
CREATE TABLE facts (
	name TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY (name)
);
INSERT INTO "facts" VALUES('schema','1');
INSERT INTO "facts" VALUES('unit of catalyst','%');
INSERT INTO "facts" VALUES('unit of pigment','%');
INSERT INTO "facts" VALUES('unit of thickness','mm');
INSERT INTO "facts" VALUES('unit of cover','');
INSERT INTO "facts" VALUES('unit of post_cure_temperature','degC');
INSERT INTO "facts" VALUES('unit of post_cure_time','h');
INSERT INTO "facts" VALUES('unit of room_temperature','degC');
INSERT INTO "facts" VALUES('unit of humidity','%');
INSERT INTO "facts" VALUES('unit of resin_lot','');
INSERT INTO "facts" VALUES('unit of catalyst_lot','');
INSERT INTO "facts" VALUES('unit of gel_time','min');
INSERT INTO "facts" VALUES('unit of time_to_peak','min');
INSERT INTO "facts" VALUES('unit of peak_temperature','degC');
INSERT INTO "facts" VALUES('unit of tack','grade');
INSERT INTO "facts" VALUES('unit of hardness','Shore D');
INSERT INTO "facts" VALUES('unit of opacity','grade');
INSERT INTO "facts" VALUES('unit of defects','grade');
CREATE TABLE pours (
	entry INTEGER NOT NULL, 
	pour TEXT NOT NULL, 
	session TEXT DEFAULT '' NOT NULL, 
	made_at DATETIME NOT NULL, 
	"by" TEXT DEFAULT '' NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	supersedes INTEGER, 
	void BOOLEAN DEFAULT 0 NOT NULL, 
	logged_at DATETIME NOT NULL, 
	PRIMARY KEY (entry), 
	FOREIGN KEY(supersedes) REFERENCES pours (entry)
);
INSERT INTO "pours" VALUES(1,'P01','S1','2026-03-02 10:00:00.000000','KM','it''s first',NULL,0,'2026-11-25 03:19:00.245881');
INSERT INTO "pours" VALUES(2,'P02','S1','2026-03-02 10:12:00.000000','','',NULL,0,'2026-11-25 03:19:00.258051');
INSERT INTO "pours" VALUES(3,'P03','S2','2026-03-03 09:00:00.000000','','',NULL,0,'2026-11-25 03:19:00.270036');
INSERT INTO "pours" VALUES(4,'P02','S1','2026-03-02 10:12:00.000000','','Corrected: scale not zeroed',2,0,'2026-11-25 03:19:01.494833');
INSERT INTO "pours" VALUES(5,'P03','S2','2026-03-03 09:00:00.000000','','Withdrawn: spilt',3,1,'2026-11-25 03:19:01.510436');
CREATE TABLE readings (
	entry INTEGER NOT NULL, 
	pour TEXT NOT NULL, 
	reading TEXT NOT NULL, 
	low DOUBLE, 
	high DOUBLE, 
	age DOUBLE, 
	specimen TEXT DEFAULT '' NOT NULL, 
	"by" TEXT DEFAULT '' NOT NULL, 
	known TEXT NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	supersedes INTEGER, 
	void BOOLEAN DEFAULT 0 NOT NULL, 
	logged_at DATETIME NOT NULL, 
	PRIMARY KEY (entry), 
	CONSTRAINT ends_in_order CHECK (low IS NULL OR high IS NULL OR low <= high), 
	FOREIGN KEY(supersedes) REFERENCES readings (entry)
);
INSERT INTO "readings" VALUES(1,'P01','gel_time',20.0,25.0,NULL,'','KM','between','',NULL,0,'2026-11-25 03:19:00.283938');
INSERT INTO "readings" VALUES(2,'P01','gel_time',24.0,24.0,NULL,'','KM','exact','Corrected: watch read wrong',1,0,'2026-11-25 03:19:00.291475');
INSERT INTO "readings" VALUES(3,'P01','tack',1.0,1.0,24.0,'','','exact','',NULL,0,'2026-11-25 03:19:00.314964');
INSERT INTO "readings" VALUES(4,'P02','gel_time',120.0,NULL,NULL,'','','not yet','',NULL,0,'2026-11-25 03:19:01.433913');
INSERT INTO "readings" VALUES(5,'P01','hardness',77.0,77.0,24.0,'a','','exact','',NULL,0,'2026-11-25 03:19:01.435451');
INSERT INTO "readings" VALUES(6,'P01','hardness',78.0,78.0,24.0,'a','','exact','',NULL,0,'2026-11-25 03:19:01.450064');
INSERT INTO "readings" VALUES(7,'P01','hardness',76.0,76.0,24.0,'a','','exact','',NULL,0,'2026-11-25 03:19:01.466089');
INSERT INTO "readings" VALUES(8,'P02','opacity',1.0,1.0,24.0,'','','exact','',NULL,0,'2026-11-25 03:19:01.474377');
INSERT INTO "readings" VALUES(9,'P02','opacity',1.0,1.0,24.0,'','','exact','Withdrawn: wrong lamp',8,1,'2026-11-25 03:19:01.482130');
CREATE TABLE settings (
	entry INTEGER NOT NULL, 
	factor TEXT NOT NULL, 
	number DOUBLE, 
	text TEXT, 
	PRIMARY KEY (entry, factor), 
	FOREIGN KEY(entry) REFERENCES pours (entry)
);
INSERT INTO "settings" VALUES(1,'catalyst',1.5,NULL);
INSERT INTO "settings" VALUES(1,'cover',1.0,NULL);
INSERT INTO "settings" VALUES(1,'thickness',12.7,NULL);
INSERT INTO "settings" VALUES(1,'room_temperature',18.3,NULL);
INSERT INTO "settings" VALUES(1,'resin_lot',NULL,'drum 3');
INSERT INTO "settings" VALUES(2,'catalyst',2.0,NULL);
INSERT INTO "settings" VALUES(2,'room_temperature',18.3,NULL);
INSERT INTO "settings" VALUES(3,'catalyst',1.0,NULL);
INSERT INTO "settings" VALUES(3,'room_temperature',21.0,NULL);
INSERT INTO "settings" VALUES(4,'room_temperature',18.3,NULL);
INSERT INTO "settings" VALUES(4,'catalyst',2.5,NULL);
INSERT INTO "settings" VALUES(5,'catalyst',1.0,NULL);
INSERT INTO "settings" VALUES(5,'room_temperature',21.0,NULL);
CREATE UNIQUE INDEX one_first_entry ON pours (pour) WHERE supersedes IS NULL;
CREATE UNIQUE INDEX one_correction_of_a_pour ON pours (supersedes);
CREATE TRIGGER no_update_of_pours BEFORE UPDATE ON pours BEGIN SELECT RAISE(ABORT, 'the log only grows: a correction is a new row'); END;
CREATE TRIGGER no_delete_of_pours BEFORE DELETE ON pours BEGIN SELECT RAISE(ABORT, 'the log only grows: a correction is a new row'); END;
CREATE UNIQUE INDEX one_correction_of_a_reading ON readings (supersedes);
CREATE TRIGGER no_update_of_readings BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'the log only grows: a correction is a new row'); END;
CREATE TRIGGER no_delete_of_readings BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'the log only grows: a correction is a new row'); END;
CREATE TRIGGER no_update_of_settings BEFORE UPDATE ON settings BEGIN SELECT RAISE(ABORT, 'the log only grows: a correction is a new row'); END;
CREATE TRIGGER no_delete_of_settings BEFORE DELETE ON settings BEGIN SELECT RAISE(ABORT, 'the log only grows: a correction is a new row'); END;
COMMIT;
