-- A shot log as coilwright wrote it before the records came (numbered format 1); invented shots.
BEGIN TRANSACTION;
CREATE TABLE aside (
	id INTEGER NOT NULL, 
	delivery_id INTEGER NOT NULL, 
	"row" INTEGER NOT NULL, 
	reason VARCHAR(40) NOT NULL, 
	why VARCHAR(500) NOT NULL, 
	text TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT one_aside UNIQUE (delivery_id, "row"), 
	FOREIGN KEY(delivery_id) REFERENCES delivery (id)
);
INSERT INTO "aside" VALUES(1,1,7,'half-written','has 3 columns of 6','2026-05-04;1;OK');
CREATE TABLE delivery (
	id INTEGER NOT NULL, 
	name VARCHAR(500) NOT NULL, 
	digest VARCHAR(64) NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (digest)
);
INSERT INTO "delivery" VALUES(1,'log.csv','d1');
INSERT INTO "delivery" VALUES(2,'log2.csv','d2');
CREATE TABLE machine (
	id INTEGER NOT NULL, 
	name VARCHAR(80) NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (name)
);
INSERT INTO "machine" VALUES(1,'press 2');
INSERT INTO "machine" VALUES(2,'press 5');
CREATE TABLE shot (
	id INTEGER NOT NULL, 
	machine_id INTEGER NOT NULL, 
	station INTEGER NOT NULL, 
	time FLOAT NOT NULL, 
	tray VARCHAR(80) NOT NULL, 
	batch VARCHAR(80) NOT NULL, 
	recipe VARCHAR(80) NOT NULL, 
	bad INTEGER NOT NULL, 
	readings JSON, 
	delivery_id INTEGER NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT one_shot UNIQUE (machine_id, time, station, tray), 
	FOREIGN KEY(machine_id) REFERENCES machine (id), 
	FOREIGN KEY(delivery_id) REFERENCES delivery (id)
);
INSERT INTO "shot" VALUES(1,1,1,1700000000.25,'T0','A','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(2,1,2,1700000000.25,'T0','A','r1',0,'null',1);
INSERT INTO "shot" VALUES(3,1,3,1700000000.25,'T0','A','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(4,1,1,1700000040.25,'T1','A','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(5,1,2,1700000040.25,'T1','A','r1',0,'null',1);
INSERT INTO "shot" VALUES(6,1,3,1700000040.25,'T1','A','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(7,1,1,1700000080.25,'T2','A','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(8,1,2,1700000080.25,'T2','A','r1',0,'null',1);
INSERT INTO "shot" VALUES(9,1,3,1700000080.25,'T2','A','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(10,1,1,1700000120.25,'T3','A','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(11,1,2,1700000120.25,'T3','A','r1',0,'null',1);
INSERT INTO "shot" VALUES(12,1,3,1700000120.25,'T3','A','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(13,1,1,1700000160.25,'T4','A','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(14,1,2,1700000160.25,'T4','A','r1',0,'null',1);
INSERT INTO "shot" VALUES(15,1,3,1700000160.25,'T4','A','r1',1,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(16,1,1,1700000200.25,'T5','B','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(17,1,2,1700000200.25,'T5','B','r1',1,'null',1);
INSERT INTO "shot" VALUES(18,1,3,1700000200.25,'T5','B','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(19,1,1,1700000240.25,'T6','B','r1',1,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(20,1,2,1700000240.25,'T6','B','r1',0,'null',1);
INSERT INTO "shot" VALUES(21,1,3,1700000240.25,'T6','B','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(22,1,1,1700000280.25,'T7','B','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(23,1,2,1700000280.25,'T7','B','r1',0,'null',1);
INSERT INTO "shot" VALUES(24,1,3,1700000280.25,'T7','B','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(25,1,1,1700000320.25,'T8','B','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(26,1,2,1700000320.25,'T8','B','r1',0,'null',1);
INSERT INTO "shot" VALUES(27,1,3,1700000320.25,'T8','B','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(28,1,1,1700000360.25,'T9','B','r1',0,'{"start": 4.81}',1);
INSERT INTO "shot" VALUES(29,1,2,1700000360.25,'T9','B','r1',0,'null',1);
INSERT INTO "shot" VALUES(30,1,3,1700000360.25,'T9','B','r1',0,'{"start": 4.83}',1);
INSERT INTO "shot" VALUES(31,2,1,1710000000.0,'','','',1,'null',2);
CREATE TABLE version (
	number INTEGER NOT NULL
);
INSERT INTO "version" VALUES(1);
COMMIT;
