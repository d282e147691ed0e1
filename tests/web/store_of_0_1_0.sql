PRAGMA user_version=1;
BEGIN TRANSACTION;
CREATE TABLE account (
	id INTEGER NOT NULL, 
	name VARCHAR(60) NOT NULL, 
	role VARCHAR(10) NOT NULL, 
	password_hash VARCHAR NOT NULL, 
	created_at DATETIME NOT NULL, 
	disabled_at DATETIME, 
	PRIMARY KEY (id), 
	UNIQUE (name)
);
INSERT INTO "account" VALUES(1,'Ada','reader','$argon2id$v=19$m=65536,t=3,p=4$0ryaVKrFn8x69+mMb4T8lg$gu8SCMKEnQbWgNpwTI6jiUcaIaPgsRfxzvfXoT78u/o','2026-11-26 17:14:26.527535',NULL);
INSERT INTO "account" VALUES(2,'ada','reader','$argon2id$v=19$m=65536,t=3,p=4$RVq2f0C7QbKEADoQF1Tx9w$Uuyn76sTZ+NzODPZBwDJ7xbJuFtZP4hfpJxzkGUaRZ0','2026-11-26 17:14:27.743360',NULL);
INSERT INTO "account" VALUES(3,'Ines','admin','$argon2id$v=19$m=65536,t=3,p=4$I4JeWnQosrMNDO8mPi7C8g$AY4d99xi8dGgKw+jTN0ydFFTwxbkvop6wNbVFDplM6Q','2026-11-26 17:14:28.936851',NULL);
CREATE TABLE channel (
	recording_id VARCHAR(16) NOT NULL, 
	number INTEGER NOT NULL, 
	samples BLOB NOT NULL, 
	PRIMARY KEY (recording_id, number), 
	FOREIGN KEY(recording_id) REFERENCES recording (id) ON DELETE CASCADE
);
INSERT INTO "channel" VALUES('ae86d7a20971',0,X'7801EDD4B1110000040340A359C52646C71AEE35E95DF2117B5D7921FD410FEC80031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0C00F07060FD2F072');
INSERT INTO "channel" VALUES('ae86d7a20971',1,X'7801EDD4C10D0000040441052942FF55C9E942323EFEB2A62AD373CB76870B410FFE2117D0810E74E00F38C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0000738C0010E7080031CE0C0670716D6B6F77F');
CREATE TABLE correction (
	id INTEGER NOT NULL, 
	recording_id VARCHAR(16) NOT NULL, 
	fetus INTEGER NOT NULL, 
	change JSON NOT NULL, 
	author VARCHAR(60) NOT NULL, 
	made_at DATETIME NOT NULL, 
	withdrawn_by VARCHAR(60), 
	withdrawn_at DATETIME, 
	PRIMARY KEY (id), 
	FOREIGN KEY(recording_id) REFERENCES recording (id) ON DELETE CASCADE
);
INSERT INTO "correction" VALUES(1,'ae86d7a20971',1,'{"action": "add", "group": "deceleration", "target_start_s": null, "target_end_s": null, "start_s": 300.0, "end_s": 360.0, "kind": "late", "note": ""}','Ada','2026-11-26 17:17:15.278740',NULL,NULL);
CREATE TABLE examination (
	id INTEGER NOT NULL, 
	recording_id VARCHAR(16), 
	answers JSON NOT NULL, 
	author VARCHAR(60) NOT NULL, 
	made_at DATETIME NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(recording_id) REFERENCES recording (id) ON DELETE CASCADE
);
CREATE TABLE mark (
	id INTEGER NOT NULL, 
	recording_id VARCHAR(16) NOT NULL, 
	fetus INTEGER NOT NULL, 
	kind VARCHAR(40) NOT NULL, 
	start_s DOUBLE NOT NULL, 
	turn_s DOUBLE, 
	end_s DOUBLE NOT NULL, 
	value DOUBLE, 
	note VARCHAR(1000) NOT NULL, 
	author VARCHAR(60) NOT NULL, 
	made_at DATETIME NOT NULL, 
	withdrawn_at DATETIME, 
	PRIMARY KEY (id), 
	FOREIGN KEY(recording_id) REFERENCES recording (id) ON DELETE CASCADE
);
INSERT INTO "mark" VALUES(1,'ae86d7a20971',1,'late',100.0,NULL,160.0,NULL,'as I saw it','Ada','2026-11-26 17:17:15.276808',NULL);
CREATE TABLE meta (
	"key" VARCHAR(40) NOT NULL, 
	value VARCHAR NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "meta" VALUES('secret','8bc628047fbc044609543be54ca7b29bb3a15c42e6d068fe371770ef47636479');
CREATE TABLE recording (
	id VARCHAR(16) NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	opened_at DATETIME NOT NULL, 
	opened_by VARCHAR(60) NOT NULL, 
	invented BOOLEAN NOT NULL, 
	duration_s DOUBLE NOT NULL, 
	header JSON NOT NULL, 
	summary JSON NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "recording" VALUES('ae86d7a20971','kept by 0.1.0','2026-11-26 17:17:15.261118','Ada',0,1800.0,'{"name": "kept by 0.1.0", "channels": [{"kind": "fetal heart rate", "samples": [], "rate_hz": 1.0, "sensor": "unknown", "fetus": 1, "unit": "", "label": ""}, {"kind": "uterine activity", "samples": [], "rate_hz": 1.0, "sensor": "unknown", "fetus": 0, "unit": "", "label": ""}], "start": null, "context": {"weeks": null, "stage": "unknown", "second_stage_start_s": null, "oxytocin": null, "epidural": null, "parity": null, "meconium": null, "fever": null}, "provenance": {"source": "", "format": "", "notes": [], "outcome": {}}, "annotations": []}','{"fetuses": 1, "valid_share": 0.0, "window_s": [0.0, 1800.0], "classes": [{"standard": "nichd", "label": "no class", "rank": -1, "fetus": 1}, {"standard": "figo", "label": "no class", "rank": -1, "fetus": 1}, {"standard": "nice", "label": "no class", "rank": -1, "fetus": 1}]}');
CREATE TABLE sign_in (
	token_hash VARCHAR(64) NOT NULL, 
	account_id INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	seen_at DATETIME NOT NULL, 
	PRIMARY KEY (token_hash), 
	FOREIGN KEY(account_id) REFERENCES account (id) ON DELETE CASCADE
);
CREATE TABLE teach_assignment (
	id VARCHAR(16) NOT NULL, 
	"case" VARCHAR(60) NOT NULL, 
	seed INTEGER, 
	title VARCHAR(120) NOT NULL, 
	due_at DATETIME, 
	attempts INTEGER NOT NULL, 
	names JSON NOT NULL, 
	set_by VARCHAR(60) NOT NULL, 
	set_at DATETIME NOT NULL, 
	closed_at DATETIME, 
	PRIMARY KEY (id)
);
CREATE TABLE teach_attempt (
	id VARCHAR(16) NOT NULL, 
	learner VARCHAR(60) NOT NULL, 
	"case" VARCHAR(60) NOT NULL, 
	yaml VARCHAR NOT NULL, 
	seed INTEGER NOT NULL, 
	assignment VARCHAR(16) NOT NULL, 
	started_at DATETIME NOT NULL, 
	finished_at DATETIME, 
	score JSON, 
	standard VARCHAR(10) NOT NULL, 
	said_class VARCHAR(40) NOT NULL, 
	true_class VARCHAR(40) NOT NULL, 
	PRIMARY KEY (id)
);
CREATE TABLE teach_card (
	id INTEGER NOT NULL, 
	learner VARCHAR(60) NOT NULL, 
	skill VARCHAR(60) NOT NULL, 
	data JSON NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (learner, skill)
);
CREATE TABLE teach_case (
	id INTEGER NOT NULL, 
	"case" VARCHAR(60) NOT NULL, 
	yaml VARCHAR NOT NULL, 
	author VARCHAR(60) NOT NULL, 
	made_at DATETIME NOT NULL, 
	withdrawn_at DATETIME, 
	PRIMARY KEY (id)
);
CREATE TABLE teach_step (
	id INTEGER NOT NULL, 
	attempt VARCHAR(16) NOT NULL, 
	number INTEGER NOT NULL, 
	data JSON NOT NULL, 
	taken_at DATETIME NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (attempt, number), 
	FOREIGN KEY(attempt) REFERENCES teach_attempt (id) ON DELETE CASCADE
);
CREATE INDEX ix_teach_case_case ON teach_case ("case");
CREATE INDEX ix_teach_attempt_case ON teach_attempt ("case");
CREATE INDEX ix_teach_attempt_learner ON teach_attempt (learner);
CREATE INDEX ix_teach_attempt_assignment ON teach_attempt (assignment);
CREATE INDEX ix_teach_card_learner ON teach_card (learner);
CREATE INDEX ix_mark_recording_id ON mark (recording_id);
CREATE INDEX ix_correction_recording_id ON correction (recording_id);
CREATE INDEX ix_examination_recording_id ON examination (recording_id);
CREATE INDEX ix_teach_step_attempt ON teach_step (attempt);
COMMIT;
