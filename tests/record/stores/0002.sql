PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO alembic_version VALUES('0002');
CREATE TABLE machine (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_machine_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        name TEXT NOT NULL CONSTRAINT uq_machine_name UNIQUE
            CONSTRAINT ck_machine_name_filled CHECK (length(trim(name)) > 0), person TEXT);
INSERT INTO machine VALUES(1,'2026-03-14T18:30:00.000000Z','long-case printer','apprentice at the second bench');
CREATE TABLE machine_description (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_machine_description_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        description JSON NOT NULL, person TEXT);
INSERT INTO machine_description VALUES(1,'2026-03-14T18:30:01.000000Z',1,'{"name": "long-case printer", "drive": "cartesian", "bed_shape": "square", "travel_mm": [220.0, 220.0, 250.0], "nozzle_mm": 0.4, "max_nozzle_c": 260.0, "geometry_steps_per_mm": {"X": 80.0, "Y": 80.0, "Z": 400.0}}','apprentice at the second bench');
CREATE TABLE machine_fingerprint (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_machine_fingerprint_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        fingerprint TEXT NOT NULL, person TEXT);
INSERT INTO machine_fingerprint VALUES(1,'2026-03-14T18:30:02.000000Z',1,'case-bench/7f31','apprentice at the second bench');
CREATE TABLE instrument (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_instrument_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        name TEXT NOT NULL CONSTRAINT uq_instrument_name UNIQUE
            CONSTRAINT ck_instrument_name_filled CHECK (length(trim(name)) > 0), person TEXT);
INSERT INTO instrument VALUES(1,'2026-03-14T18:30:05.000000Z','bench caliper','apprentice at the second bench');
CREATE TABLE instrument_description (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_instrument_description_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        instrument_id INTEGER NOT NULL REFERENCES instrument (id),
        description JSON NOT NULL, person TEXT);
INSERT INTO instrument_description VALUES(1,'2026-03-14T18:30:06.000000Z',1,'{"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}','apprentice at the second bench');
CREATE TABLE instrument_check (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_instrument_check_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        instrument_id INTEGER NOT NULL REFERENCES instrument (id),
        details JSON NOT NULL, person TEXT);
INSERT INTO instrument_check VALUES(1,'2026-03-14T18:30:07.000000Z',1,'{"nominal_mm": 100.0, "u_mm": 0.003}','apprentice at the second bench');
INSERT INTO instrument_check VALUES(2,'2026-03-14T18:30:55.000000Z',1,'{"nominal_mm": 50.0, "u_mm": 0.002}','apprentice at the second bench');
CREATE TABLE calibration (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_calibration_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        versions JSON NOT NULL,
        person TEXT,
        conditions JSON NOT NULL);
INSERT INTO calibration VALUES(1,'2026-03-14T18:30:03.000000Z',1,'{"asleft": "0.1.0", "python": "3.11", "numpy": "2.4.6"}','apprentice at the second bench','{"room_c": 21.5}');
INSERT INTO calibration VALUES(2,'2026-03-14T18:30:50.000000Z',1,'{"asleft": "0.1.0", "python": "3.11", "numpy": "2.4.6"}','apprentice at the second bench','{}');
CREATE TABLE calibration_close (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_calibration_close_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        calibration_id INTEGER NOT NULL REFERENCES calibration (id)
            CONSTRAINT uq_calibration_close_calibration_id UNIQUE,
        reason TEXT NOT NULL
            CONSTRAINT ck_calibration_close_reason_filled CHECK (length(trim(reason)) > 0), person TEXT);
INSERT INTO calibration_close VALUES(1,'2026-03-14T18:30:49.000000Z',1,'the record was made','apprentice at the second bench');
CREATE TABLE kept_state (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_kept_state_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        calibration_id INTEGER REFERENCES calibration (id),
        raw TEXT NOT NULL,
        parsed JSON NOT NULL,
        reason TEXT NOT NULL
            CONSTRAINT ck_kept_state_reason_filled CHECK (length(trim(reason)) > 0),
        standing TEXT NOT NULL CONSTRAINT ck_kept_state_standing CHECK (standing IN
            ('in_force', 'after_reset', 'from_storage', 'typed', 'pasted')), person TEXT);
INSERT INTO kept_state VALUES(1,'2026-03-14T18:30:04.000000Z',1,1,replace('M92 X80.00 Y80.00 Z400.00\nM92 T0 E93.00\nM852 I0.00000\n; case clamps loosened\nok\n','\n',char(10)),'{"complete": true, "steps_per_mm": {"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0}, "skew": {"XY": 0.0}, "delta": null}','as found','in_force','apprentice at the second bench');
INSERT INTO kept_state VALUES(2,'2026-03-14T18:30:34.000000Z',1,1,replace('M92 X80.17 Y80.00 Z400.00\nM92 T0 E97.89\nM852 I0.00120\n; case clamps loosened\nok\n','\n',char(10)),'{"complete": true, "steps_per_mm": {"X": 80.17, "Y": 80.0, "Z": 400.0, "E": 97.89}, "skew": {"XY": 0.0012}, "delta": null}','after set','in_force','apprentice at the second bench');
CREATE TABLE trial (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_trial_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        calibration_id INTEGER NOT NULL REFERENCES calibration (id),
        kind TEXT NOT NULL CONSTRAINT ck_trial_kind CHECK (kind IN
            ('feed', 'span', 'traverse', 'bead', 'fit', 'proof')),
        parameters JSON NOT NULL,
        steps JSON NOT NULL,
        kept_state_id INTEGER REFERENCES kept_state (id),
        instrument JSON NOT NULL,
        making JSON NOT NULL, person TEXT);
INSERT INTO trial VALUES(1,'2026-03-14T18:30:09.000000Z',1,'feed','{"basis": {"tolerance": {"scale": 0.001, "shear": 0.001, "feed": 0.01, "bead": 0.03, "growth": 0.1}}}','["feed.ready", "feed.1.remaining", "feed.2.remaining", "feed.3.remaining", "feed.4.remaining"]',1,'{"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}','{"name": "clock case walls", "nozzle_mm": 0.4, "line_width_mm": 0.45, "layer_mm": 0.2}','apprentice at the second bench');
INSERT INTO trial VALUES(2,'2026-03-14T18:30:20.000000Z',1,'span','{"basis": {"tolerance": {"scale": 0.001, "shear": 0.001, "feed": 0.01, "bead": 0.03, "growth": 0.1}}}','["span.1.1", "span.1.2", "span.1.3", "span.1.4", "span.1.5", "span.1.6", "span.1.7"]',1,'{"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}','{"name": "clock case walls", "nozzle_mm": 0.4, "line_width_mm": 0.45, "layer_mm": 0.2}','apprentice at the second bench');
INSERT INTO trial VALUES(3,'2026-03-14T18:30:38.000000Z',1,'proof','{"first": 2}','["proof.1.1", "proof.1.2", "proof.1.3", "proof.1.4", "proof.1.5", "proof.1.6", "proof.1.7"]',2,'{"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}','{"name": "clock case walls", "nozzle_mm": 0.4, "line_width_mm": 0.45, "layer_mm": 0.2}','apprentice at the second bench');
CREATE TABLE trial_end (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_trial_end_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        trial_id INTEGER NOT NULL REFERENCES trial (id)
            CONSTRAINT uq_trial_end_trial_id UNIQUE,
        outcome TEXT NOT NULL CONSTRAINT ck_trial_end_outcome CHECK (outcome IN
            ('done', 'stopped', 'failed', 'no_estimate')),
        reason TEXT NOT NULL,
        result JSON, person TEXT,
        CONSTRAINT ck_trial_end_reason_given
            CHECK (outcome = 'done' OR length(trim(reason)) > 0));
INSERT INTO trial_end VALUES(1,'2026-03-14T18:30:19.000000Z',1,'done','','{"trial": "feed", "quantities": [{"name": "fed_ratio", "axis": "E", "plane": null, "value": 0.95003, "u": 0.00036, "unit": "1", "low95": 0.9492740000000001, "high95": 0.950786, "reason": null}], "proposals": [{"setting": "steps_per_mm", "axis": "E", "place": "controller", "in_force": 93.0, "proposed": 97.8934, "u": 0.0371, "verdict": "adjust", "provisional": false, "p_within_tolerance": 4e-07, "p_after": 0.9999, "reason": "100 mm were commanded and 95.003 mm went in: 5.00 % too little."}], "budget": [{"quantity": "fed_ratio E", "input": "repeats", "kind": "A", "u": 0.00031, "sensitivity": 1.0, "contribution": 0.00031}, {"quantity": "fed_ratio E", "input": "caliper scale", "kind": "B", "u": 0.00018, "sensitivity": 1.0, "contribution": 0.00018}], "set_aside": [], "warnings": []}','apprentice at the second bench');
INSERT INTO trial_end VALUES(2,'2026-03-14T18:30:31.000000Z',2,'done','','{"trial": "span", "quantities": [{"name": "printed_scale", "axis": "X", "plane": null, "value": -0.00212, "u": 0.000231, "unit": "1", "low95": -0.0026051, "high95": -0.0016349, "reason": null}, {"name": "printed_scale", "axis": "Y", "plane": null, "value": 4e-05, "u": 0.000228, "unit": "1", "low95": -0.00043880000000000004, "high95": 0.0005188, "reason": null}, {"name": "printed_scale", "axis": "Z", "plane": null, "value": 0.00025, "u": 0.00031, "unit": "1", "low95": -0.000401, "high95": 0.000901, "reason": null}, {"name": "motion_scale", "axis": "X", "plane": null, "value": null, "u": null, "unit": "1", "low95": null, "high95": null, "reason": "a span cannot tell it alone"}, {"name": "growth", "axis": null, "plane": null, "value": 0.1432, "u": 0.0211, "unit": "mm", "low95": 0.09888999999999999, "high95": 0.18751, "reason": null}, {"name": "shear", "axis": null, "plane": "XY", "value": 0.00121, "u": 0.000312, "unit": "rad", "low95": 0.0005547999999999999, "high95": 0.0018652, "reason": null}], "proposals": [{"setting": "steps_per_mm", "axis": "X", "in_force": 80.0, "proposed": 80.16996, "u": 0.0185, "verdict": "adjust", "p_within_tolerance": 2.1e-06, "p_after": 0.998, "reason": "X is 0.212 % short, more than the readings leave in doubt.", "place": "controller", "provisional": false}, {"setting": "skew", "axis": "XY", "in_force": 0.0, "proposed": 0.00121, "u": 0.000312, "verdict": "adjust", "p_within_tolerance": 0.251, "p_after": 0.997, "reason": "The diagonals differ by more than the readings leave in doubt.", "place": "controller", "provisional": false}, {"setting": "steps_per_mm", "axis": "Z", "in_force": 400.0, "proposed": null, "u": 0.124, "verdict": "measure_more", "p_within_tolerance": 0.991, "p_after": null, "reason": "One height cannot tell a misread from a wrong scale: add heights.", "place": "controller", "provisional": false}], "budget": [{"quantity": "printed_scale X", "input": "face scatter", "kind": "A", "u": 0.000184, "sensitivity": 1.0, "contribution": 0.000184}, {"quantity": "printed_scale X", "input": "caliper scale", "kind": "B", "u": 0.000119, "sensitivity": 1.0, "contribution": 0.000119}, {"quantity": "printed_scale X", "input": "growth", "kind": "B", "u": 7.31e-05, "sensitivity": 1.0, "contribution": 7.31e-05}, {"quantity": "growth", "input": "caliper zero, outside", "kind": "B", "u": 0.0163, "sensitivity": 1.0, "contribution": 0.0163}, {"quantity": "growth", "input": "face scatter", "kind": "A", "u": 0.0134, "sensitivity": 1.0, "contribution": 0.0134}, {"quantity": "shear XY", "input": "face scatter", "kind": "A", "u": 0.000312, "sensitivity": 1.0, "contribution": 0.000312}], "set_aside": [{"row": 6, "reading_mm": 145.31, "why": "1.17 mm from the fit: a misread millimetre"}], "warnings": ["Each place was read once: repeats would show the reading noise."]}','apprentice at the second bench');
INSERT INTO trial_end VALUES(3,'2026-03-14T18:30:47.000000Z',3,'done','6 of 7 faces came out inside what was foretold; chance alone does as much.','{"holds": true, "chi2": 12.74, "dof": 7, "p": 0.079, "inside": 6, "places": [{"label": "1", "predicted_mm": 107.156, "low95_mm": 107.092, "high95_mm": 107.22, "reading_mm": 107.14, "readings": 1, "inside": true}, {"label": "2", "predicted_mm": 82.816, "low95_mm": 82.752, "high95_mm": 82.88, "reading_mm": 82.83, "readings": 1, "inside": true}, {"label": "3", "predicted_mm": 107.138, "low95_mm": 107.074, "high95_mm": 107.202, "reading_mm": 107.15, "readings": 1, "inside": true}, {"label": "4", "predicted_mm": 82.851, "low95_mm": 82.787, "high95_mm": 82.915, "reading_mm": 82.84, "readings": 1, "inside": true}, {"label": "5", "predicted_mm": 146.514, "low95_mm": 146.45, "high95_mm": 146.578, "reading_mm": 146.62, "readings": 1, "inside": false}, {"label": "6", "predicted_mm": 146.497, "low95_mm": 146.433, "high95_mm": 146.561, "reading_mm": 146.49, "readings": 1, "inside": true}, {"label": "7", "predicted_mm": 80.021, "low95_mm": 79.957, "high95_mm": 80.085, "reading_mm": 80.03, "readings": 1, "inside": true}], "set_aside": [], "reason": "6 of 7 faces came out inside what was foretold; chance alone does as much."}','apprentice at the second bench');
CREATE TABLE step_mark (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_step_mark_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        trial_id INTEGER NOT NULL REFERENCES trial (id),
        key TEXT NOT NULL CONSTRAINT ck_step_mark_key_filled CHECK (length(trim(key)) > 0),
        state TEXT NOT NULL
            CONSTRAINT ck_step_mark_state CHECK (state IN ('started', 'done', 'void')),
        details JSON NOT NULL, person TEXT);
INSERT INTO step_mark VALUES(1,'2026-03-14T18:30:10.000000Z',1,'feed.ready','started','{}','apprentice at the second bench');
INSERT INTO step_mark VALUES(2,'2026-03-14T18:30:11.000000Z',1,'feed.ready','done','{}','apprentice at the second bench');
CREATE TABLE reading (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_reading_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        trial_id INTEGER NOT NULL REFERENCES trial (id),
        key TEXT NOT NULL CONSTRAINT ck_reading_key_filled CHECK (length(trim(key)) > 0),
        take INTEGER NOT NULL CONSTRAINT ck_reading_take CHECK (take >= 0),
        place JSON NOT NULL,
        value DOUBLE PRECISION NOT NULL CONSTRAINT ck_reading_value_finite
            CHECK (value > -1000000 AND value < 1000000),
        raw TEXT NOT NULL,
        unit TEXT NOT NULL CONSTRAINT ck_reading_unit_filled CHECK (length(trim(unit)) > 0), person TEXT,
        CONSTRAINT uq_reading_trial_id_key_take UNIQUE (trial_id, key, take));
INSERT INTO reading VALUES(1,'2026-03-14T18:30:12.000000Z',1,'feed.1.remaining',0,'{"marked_mm": 120.0, "commanded_mm": 100.0}',35.020000000000003127,'35.02','mm','apprentice at the second bench');
INSERT INTO reading VALUES(2,'2026-03-14T18:30:14.000000Z',1,'feed.1.remaining',1,'{"marked_mm": 120.0, "commanded_mm": 100.0}',25.019999999999999573,'25.02','mm','apprentice at the second bench');
INSERT INTO reading VALUES(3,'2026-03-14T18:30:15.000000Z',1,'feed.2.remaining',0,'{"marked_mm": 120.0, "commanded_mm": 100.0}',24.960000000000000853,'24,96','mm','apprentice at the second bench');
INSERT INTO reading VALUES(4,'2026-03-14T18:30:16.000000Z',1,'feed.3.remaining',0,'{"marked_mm": 120.0, "commanded_mm": 100.0}',25.070000000000000283,'25.07','mm','apprentice at the second bench');
INSERT INTO reading VALUES(5,'2026-03-14T18:30:17.000000Z',1,'feed.4.remaining',0,'{"marked_mm": 120.0, "commanded_mm": 100.0}',24.940000000000001278,'24.94','mm','apprentice at the second bench');
INSERT INTO reading VALUES(6,'2026-03-14T18:30:21.000000Z',2,'span.1.1',0,'{"place": "1", "direction": "X", "faces": "outside", "nominal_mm": 107.0}',106.93000000000000682,'106.93','mm','apprentice at the second bench');
INSERT INTO reading VALUES(7,'2026-03-14T18:30:22.000000Z',2,'span.1.2',0,'{"place": "2", "direction": "X", "faces": "inside", "nominal_mm": 83.0}',82.640000000000000566,'82.64','mm','apprentice at the second bench');
INSERT INTO reading VALUES(8,'2026-03-14T18:30:23.000000Z',2,'span.1.3',0,'{"place": "3", "direction": "Y", "faces": "outside", "nominal_mm": 107.0}',107.14000000000000056,'107.14','mm','apprentice at the second bench');
INSERT INTO reading VALUES(9,'2026-03-14T18:30:24.000000Z',2,'span.1.4',0,'{"place": "4", "direction": "Y", "faces": "inside", "nominal_mm": 83.0}',82.849999999999994317,'82.85','mm','apprentice at the second bench');
INSERT INTO reading VALUES(10,'2026-03-14T18:30:25.000000Z',2,'span.1.5',0,'{"place": "5", "direction": "XY+", "faces": "outside", "nominal_mm": 146.35}',146.47999999999998976,'146.48','mm','apprentice at the second bench');
INSERT INTO reading VALUES(11,'2026-03-14T18:30:26.000000Z',2,'span.1.6',0,'{"place": "6", "direction": "XY-", "faces": "outside", "nominal_mm": 146.35}',145.31000000000000227,'145.31','mm','apprentice at the second bench');
INSERT INTO reading VALUES(12,'2026-03-14T18:30:27.000000Z',2,'span.1.7',0,'{"place": "7", "direction": "Z", "faces": "same", "nominal_mm": 80.0}',80.019999999999996019,'80.02','mm','apprentice at the second bench');
INSERT INTO reading VALUES(13,'2026-03-14T18:30:40.000000Z',3,'proof.1.1',0,'{"place": "1", "direction": "X", "faces": "outside", "nominal_mm": 107.0}',107.14000000000000056,'107.14','mm','apprentice at the second bench');
INSERT INTO reading VALUES(14,'2026-03-14T18:30:41.000000Z',3,'proof.1.2',0,'{"place": "2", "direction": "X", "faces": "inside", "nominal_mm": 83.0}',82.829999999999998298,'82.83','mm','apprentice at the second bench');
INSERT INTO reading VALUES(15,'2026-03-14T18:30:42.000000Z',3,'proof.1.3',0,'{"place": "3", "direction": "Y", "faces": "outside", "nominal_mm": 107.0}',107.15000000000000568,'107.15','mm','apprentice at the second bench');
INSERT INTO reading VALUES(16,'2026-03-14T18:30:43.000000Z',3,'proof.1.4',0,'{"place": "4", "direction": "Y", "faces": "inside", "nominal_mm": 83.0}',82.840000000000003407,'82.84','mm','apprentice at the second bench');
INSERT INTO reading VALUES(17,'2026-03-14T18:30:44.000000Z',3,'proof.1.5',0,'{"place": "5", "direction": "XY+", "faces": "outside", "nominal_mm": 146.35}',146.62000000000000454,'146.62','mm','apprentice at the second bench');
INSERT INTO reading VALUES(18,'2026-03-14T18:30:45.000000Z',3,'proof.1.6',0,'{"place": "6", "direction": "XY-", "faces": "outside", "nominal_mm": 146.35}',146.49000000000000909,'146.49','mm','apprentice at the second bench');
INSERT INTO reading VALUES(19,'2026-03-14T18:30:46.000000Z',3,'proof.1.7',0,'{"place": "7", "direction": "Z", "faces": "same", "nominal_mm": 80.0}',80.030000000000001136,'80.03','mm','apprentice at the second bench');
CREATE TABLE reading_void (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_reading_void_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        reading_id INTEGER NOT NULL REFERENCES reading (id)
            CONSTRAINT uq_reading_void_reading_id UNIQUE,
        reason TEXT NOT NULL
            CONSTRAINT ck_reading_void_reason_filled CHECK (length(trim(reason)) > 0), person TEXT);
INSERT INTO reading_void VALUES(1,'2026-03-14T18:30:13.000000Z',1,'the mark was read from the wrong side','apprentice at the second bench');
CREATE TABLE proposal (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_proposal_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        trial_id INTEGER NOT NULL REFERENCES trial (id),
        setting TEXT NOT NULL
            CONSTRAINT ck_proposal_setting_filled CHECK (length(trim(setting)) > 0),
        axis TEXT NOT NULL CONSTRAINT ck_proposal_axis_filled CHECK (length(trim(axis)) > 0),
        details JSON NOT NULL, person TEXT);
INSERT INTO proposal VALUES(1,'2026-03-14T18:30:18.000000Z',1,'steps_per_mm','E','{"setting": "steps_per_mm", "axis": "E", "place": "controller", "in_force": 93.0, "proposed": 97.8934, "u": 0.0371, "verdict": "adjust", "provisional": false, "p_within_tolerance": 4e-07, "p_after": 0.9999, "reason": "100 mm were commanded and 95.003 mm went in: 5.00 % too little."}','apprentice at the second bench');
INSERT INTO proposal VALUES(2,'2026-03-14T18:30:28.000000Z',2,'steps_per_mm','X','{"setting": "steps_per_mm", "axis": "X", "in_force": 80.0, "proposed": 80.16996, "u": 0.0185, "verdict": "adjust", "p_within_tolerance": 2.1e-06, "p_after": 0.998, "reason": "X is 0.212 % short, more than the readings leave in doubt.", "place": "controller", "provisional": false}','apprentice at the second bench');
INSERT INTO proposal VALUES(3,'2026-03-14T18:30:29.000000Z',2,'skew','XY','{"setting": "skew", "axis": "XY", "in_force": 0.0, "proposed": 0.00121, "u": 0.000312, "verdict": "adjust", "p_within_tolerance": 0.251, "p_after": 0.997, "reason": "The diagonals differ by more than the readings leave in doubt.", "place": "controller", "provisional": false}','apprentice at the second bench');
INSERT INTO proposal VALUES(4,'2026-03-14T18:30:30.000000Z',2,'steps_per_mm','Z','{"setting": "steps_per_mm", "axis": "Z", "in_force": 400.0, "proposed": null, "u": 0.124, "verdict": "measure_more", "p_within_tolerance": 0.991, "p_after": null, "reason": "One height cannot tell a misread from a wrong scale: add heights.", "place": "controller", "provisional": false}','apprentice at the second bench');
CREATE TABLE proposal_withdrawal (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_proposal_withdrawal_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        proposal_id INTEGER NOT NULL REFERENCES proposal (id)
            CONSTRAINT uq_proposal_withdrawal_proposal_id UNIQUE,
        reason TEXT NOT NULL
            CONSTRAINT ck_proposal_withdrawal_reason_filled CHECK (length(trim(reason)) > 0), person TEXT);
INSERT INTO proposal_withdrawal VALUES(1,'2026-03-14T18:30:53.000000Z',2,'the belt was tightened','apprentice at the second bench');
CREATE TABLE change (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_change_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        calibration_id INTEGER NOT NULL REFERENCES calibration (id),
        kind TEXT NOT NULL CONSTRAINT ck_change_kind CHECK (kind IN ('set', 'undo', 'restore')),
        settings JSON NOT NULL,
        proposal_ids JSON NOT NULL,
        kept_state_id INTEGER REFERENCES kept_state (id), person TEXT);
INSERT INTO change VALUES(1,'2026-03-14T18:30:32.000000Z',1,'set','[{"setting": "E", "before": 93.0, "wanted": 97.89}, {"setting": "X", "before": 80.0, "wanted": 80.17}, {"setting": "XY", "before": 0.0, "wanted": 0.0012}]','[1, 2, 3]',1,'apprentice at the second bench');
CREATE TABLE change_mark (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_change_mark_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        change_id INTEGER NOT NULL REFERENCES change (id),
        state TEXT NOT NULL CONSTRAINT ck_change_mark_state CHECK (state IN
            ('sent', 'read_back', 'stored', 'not_stored', 'power_cycled', 'failed', 'undone',
             'handed_over')),
        details JSON NOT NULL, person TEXT);
INSERT INTO change_mark VALUES(1,'2026-03-14T18:30:33.000000Z',1,'sent','{"lines": ["M92 X80.17", "M92 T0 E97.89", "M852 I0.0012"]}','apprentice at the second bench');
INSERT INTO change_mark VALUES(2,'2026-03-14T18:30:35.000000Z',1,'read_back','{"verified": true, "values": {"X": 80.17, "Y": 80.0, "Z": 400.0, "E": 97.89, "XY": 0.0012}}','apprentice at the second bench');
INSERT INTO change_mark VALUES(3,'2026-03-14T18:30:36.000000Z',1,'stored','{"values": {"X": 80.17, "Y": 80.0, "Z": 400.0, "E": 97.89, "XY": 0.0012}}','apprentice at the second bench');
INSERT INTO change_mark VALUES(4,'2026-03-14T18:30:37.000000Z',1,'power_cycled','{"survived": true}','apprentice at the second bench');
CREATE TABLE prediction (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_prediction_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        calibration_id INTEGER NOT NULL REFERENCES calibration (id),
        trial_id INTEGER NOT NULL REFERENCES trial (id),
        details JSON NOT NULL, person TEXT);
INSERT INTO prediction VALUES(1,'2026-03-14T18:30:39.000000Z',1,3,'{"places": [{"label": "1", "direction": "X", "faces": "outside", "nominal_mm": 107.0, "predicted_mm": 107.156, "u_mm": 0.031, "low95_mm": 107.092, "high95_mm": 107.22}, {"label": "2", "direction": "X", "faces": "inside", "nominal_mm": 83.0, "predicted_mm": 82.816, "u_mm": 0.031, "low95_mm": 82.752, "high95_mm": 82.88}, {"label": "3", "direction": "Y", "faces": "outside", "nominal_mm": 107.0, "predicted_mm": 107.138, "u_mm": 0.031, "low95_mm": 107.074, "high95_mm": 107.202}, {"label": "4", "direction": "Y", "faces": "inside", "nominal_mm": 83.0, "predicted_mm": 82.851, "u_mm": 0.031, "low95_mm": 82.787, "high95_mm": 82.915}, {"label": "5", "direction": "XY+", "faces": "outside", "nominal_mm": 146.35, "predicted_mm": 146.514, "u_mm": 0.031, "low95_mm": 146.45, "high95_mm": 146.578}, {"label": "6", "direction": "XY-", "faces": "outside", "nominal_mm": 146.35, "predicted_mm": 146.497, "u_mm": 0.031, "low95_mm": 146.433, "high95_mm": 146.561}, {"label": "7", "direction": "Z", "faces": "same", "nominal_mm": 80.0, "predicted_mm": 80.021, "u_mm": 0.031, "low95_mm": 79.957, "high95_mm": 80.085}]}','apprentice at the second bench');
CREATE TABLE event (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_event_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        kind TEXT NOT NULL CONSTRAINT ck_event_kind_filled CHECK (length(trim(kind)) > 0),
        text TEXT NOT NULL, person TEXT);
INSERT INTO event VALUES(1,'2026-03-14T18:30:08.000000Z',1,'belt','X belt tightened by half a turn','apprentice at the second bench');
INSERT INTO event VALUES(2,'2026-03-14T18:30:54.000000Z',1,'belt','Y belt changed: “25 teeth”','apprentice at the second bench');
CREATE TABLE wire_log (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_wire_log_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        calibration_id INTEGER REFERENCES calibration (id),
        path TEXT NOT NULL CONSTRAINT ck_wire_log_path_filled CHECK (length(trim(path)) > 0),
        first_line INTEGER NOT NULL,
        last_line INTEGER NOT NULL, person TEXT,
        CONSTRAINT ck_wire_log_lines CHECK (first_line >= 1 AND last_line >= first_line));
INSERT INTO wire_log VALUES(1,'2026-03-14T18:30:48.000000Z',1,1,'wire/long-case-printer.log',1,412,'apprentice at the second bench');
CREATE TABLE condition (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_condition_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                person TEXT,
                
        calibration_id INTEGER NOT NULL REFERENCES calibration (id),
        details JSON NOT NULL);
INSERT INTO condition VALUES(1,'2026-03-14T18:30:51.000000Z','apprentice at the second bench',2,'{"room_c": 21.5}');
CREATE TABLE delivery (
                id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
                at TEXT NOT NULL CONSTRAINT ck_delivery_at_utc
                    CHECK (at LIKE '____-__-__T__:__:__%Z'),
                person TEXT,
                
        token TEXT NOT NULL CONSTRAINT uq_delivery_token UNIQUE
            CONSTRAINT ck_delivery_token_filled CHECK (length(trim(token)) > 0));
INSERT INTO delivery VALUES(1,'2026-03-14T18:30:52.000000Z','apprentice at the second bench','4f1d2c');
CREATE TABLE lease (
            token TEXT NOT NULL PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id),
            place TEXT NOT NULL,
            person TEXT NOT NULL,
            holder TEXT NOT NULL,
            since_s DOUBLE PRECISION NOT NULL,
            until_s DOUBLE PRECISION NOT NULL);
DELETE FROM sqlite_sequence;
INSERT INTO sqlite_sequence VALUES('machine',1);
INSERT INTO sqlite_sequence VALUES('machine_description',1);
INSERT INTO sqlite_sequence VALUES('machine_fingerprint',1);
INSERT INTO sqlite_sequence VALUES('calibration',2);
INSERT INTO sqlite_sequence VALUES('kept_state',2);
INSERT INTO sqlite_sequence VALUES('instrument',1);
INSERT INTO sqlite_sequence VALUES('instrument_description',1);
INSERT INTO sqlite_sequence VALUES('instrument_check',2);
INSERT INTO sqlite_sequence VALUES('event',2);
INSERT INTO sqlite_sequence VALUES('trial',3);
INSERT INTO sqlite_sequence VALUES('step_mark',2);
INSERT INTO sqlite_sequence VALUES('reading',19);
INSERT INTO sqlite_sequence VALUES('reading_void',1);
INSERT INTO sqlite_sequence VALUES('proposal',4);
INSERT INTO sqlite_sequence VALUES('trial_end',3);
INSERT INTO sqlite_sequence VALUES('change',1);
INSERT INTO sqlite_sequence VALUES('change_mark',4);
INSERT INTO sqlite_sequence VALUES('prediction',1);
INSERT INTO sqlite_sequence VALUES('wire_log',1);
INSERT INTO sqlite_sequence VALUES('calibration_close',1);
INSERT INTO sqlite_sequence VALUES('condition',1);
INSERT INTO sqlite_sequence VALUES('delivery',1);
INSERT INTO sqlite_sequence VALUES('proposal_withdrawal',1);
CREATE INDEX ix_machine_description_machine_id ON machine_description (machine_id);
CREATE INDEX ix_calibration_machine_id ON calibration (machine_id);
CREATE INDEX ix_kept_state_machine_id ON kept_state (machine_id);
CREATE INDEX ix_trial_calibration_id ON trial (calibration_id);
CREATE INDEX ix_step_mark_trial_id ON step_mark (trial_id);
CREATE INDEX ix_proposal_trial_id ON proposal (trial_id);
CREATE INDEX ix_change_calibration_id ON change (calibration_id);
CREATE INDEX ix_change_mark_change_id ON change_mark (change_id);
CREATE INDEX ix_event_machine_id ON event (machine_id);
CREATE TRIGGER machine_no_update BEFORE UPDATE ON machine
                BEGIN SELECT RAISE(ABORT, 'rows of machine are never altered or deleted'); END;
CREATE TRIGGER machine_no_delete BEFORE DELETE ON machine
                BEGIN SELECT RAISE(ABORT, 'rows of machine are never altered or deleted'); END;
CREATE TRIGGER machine_description_no_update BEFORE UPDATE ON machine_description
                BEGIN SELECT RAISE(ABORT, 'rows of machine_description are never altered or deleted'); END;
CREATE TRIGGER machine_description_no_delete BEFORE DELETE ON machine_description
                BEGIN SELECT RAISE(ABORT, 'rows of machine_description are never altered or deleted'); END;
CREATE TRIGGER machine_fingerprint_no_update BEFORE UPDATE ON machine_fingerprint
                BEGIN SELECT RAISE(ABORT, 'rows of machine_fingerprint are never altered or deleted'); END;
CREATE TRIGGER machine_fingerprint_no_delete BEFORE DELETE ON machine_fingerprint
                BEGIN SELECT RAISE(ABORT, 'rows of machine_fingerprint are never altered or deleted'); END;
CREATE TRIGGER instrument_no_update BEFORE UPDATE ON instrument
                BEGIN SELECT RAISE(ABORT, 'rows of instrument are never altered or deleted'); END;
CREATE TRIGGER instrument_no_delete BEFORE DELETE ON instrument
                BEGIN SELECT RAISE(ABORT, 'rows of instrument are never altered or deleted'); END;
CREATE TRIGGER instrument_description_no_update BEFORE UPDATE ON instrument_description
                BEGIN SELECT RAISE(ABORT, 'rows of instrument_description are never altered or deleted'); END;
CREATE TRIGGER instrument_description_no_delete BEFORE DELETE ON instrument_description
                BEGIN SELECT RAISE(ABORT, 'rows of instrument_description are never altered or deleted'); END;
CREATE TRIGGER instrument_check_no_update BEFORE UPDATE ON instrument_check
                BEGIN SELECT RAISE(ABORT, 'rows of instrument_check are never altered or deleted'); END;
CREATE TRIGGER instrument_check_no_delete BEFORE DELETE ON instrument_check
                BEGIN SELECT RAISE(ABORT, 'rows of instrument_check are never altered or deleted'); END;
CREATE TRIGGER calibration_no_update BEFORE UPDATE ON calibration
                BEGIN SELECT RAISE(ABORT, 'rows of calibration are never altered or deleted'); END;
CREATE TRIGGER calibration_no_delete BEFORE DELETE ON calibration
                BEGIN SELECT RAISE(ABORT, 'rows of calibration are never altered or deleted'); END;
CREATE TRIGGER calibration_close_no_update BEFORE UPDATE ON calibration_close
                BEGIN SELECT RAISE(ABORT, 'rows of calibration_close are never altered or deleted'); END;
CREATE TRIGGER calibration_close_no_delete BEFORE DELETE ON calibration_close
                BEGIN SELECT RAISE(ABORT, 'rows of calibration_close are never altered or deleted'); END;
CREATE TRIGGER kept_state_no_update BEFORE UPDATE ON kept_state
                BEGIN SELECT RAISE(ABORT, 'rows of kept_state are never altered or deleted'); END;
CREATE TRIGGER kept_state_no_delete BEFORE DELETE ON kept_state
                BEGIN SELECT RAISE(ABORT, 'rows of kept_state are never altered or deleted'); END;
CREATE TRIGGER trial_no_update BEFORE UPDATE ON trial
                BEGIN SELECT RAISE(ABORT, 'rows of trial are never altered or deleted'); END;
CREATE TRIGGER trial_no_delete BEFORE DELETE ON trial
                BEGIN SELECT RAISE(ABORT, 'rows of trial are never altered or deleted'); END;
CREATE TRIGGER trial_end_no_update BEFORE UPDATE ON trial_end
                BEGIN SELECT RAISE(ABORT, 'rows of trial_end are never altered or deleted'); END;
CREATE TRIGGER trial_end_no_delete BEFORE DELETE ON trial_end
                BEGIN SELECT RAISE(ABORT, 'rows of trial_end are never altered or deleted'); END;
CREATE TRIGGER step_mark_no_update BEFORE UPDATE ON step_mark
                BEGIN SELECT RAISE(ABORT, 'rows of step_mark are never altered or deleted'); END;
CREATE TRIGGER step_mark_no_delete BEFORE DELETE ON step_mark
                BEGIN SELECT RAISE(ABORT, 'rows of step_mark are never altered or deleted'); END;
CREATE TRIGGER reading_no_update BEFORE UPDATE ON reading
                BEGIN SELECT RAISE(ABORT, 'rows of reading are never altered or deleted'); END;
CREATE TRIGGER reading_no_delete BEFORE DELETE ON reading
                BEGIN SELECT RAISE(ABORT, 'rows of reading are never altered or deleted'); END;
CREATE TRIGGER reading_void_no_update BEFORE UPDATE ON reading_void
                BEGIN SELECT RAISE(ABORT, 'rows of reading_void are never altered or deleted'); END;
CREATE TRIGGER reading_void_no_delete BEFORE DELETE ON reading_void
                BEGIN SELECT RAISE(ABORT, 'rows of reading_void are never altered or deleted'); END;
CREATE TRIGGER proposal_no_update BEFORE UPDATE ON proposal
                BEGIN SELECT RAISE(ABORT, 'rows of proposal are never altered or deleted'); END;
CREATE TRIGGER proposal_no_delete BEFORE DELETE ON proposal
                BEGIN SELECT RAISE(ABORT, 'rows of proposal are never altered or deleted'); END;
CREATE TRIGGER proposal_withdrawal_no_update BEFORE UPDATE ON proposal_withdrawal
                BEGIN SELECT RAISE(ABORT, 'rows of proposal_withdrawal are never altered or deleted'); END;
CREATE TRIGGER proposal_withdrawal_no_delete BEFORE DELETE ON proposal_withdrawal
                BEGIN SELECT RAISE(ABORT, 'rows of proposal_withdrawal are never altered or deleted'); END;
CREATE TRIGGER change_no_update BEFORE UPDATE ON change
                BEGIN SELECT RAISE(ABORT, 'rows of change are never altered or deleted'); END;
CREATE TRIGGER change_no_delete BEFORE DELETE ON change
                BEGIN SELECT RAISE(ABORT, 'rows of change are never altered or deleted'); END;
CREATE TRIGGER change_mark_no_update BEFORE UPDATE ON change_mark
                BEGIN SELECT RAISE(ABORT, 'rows of change_mark are never altered or deleted'); END;
CREATE TRIGGER change_mark_no_delete BEFORE DELETE ON change_mark
                BEGIN SELECT RAISE(ABORT, 'rows of change_mark are never altered or deleted'); END;
CREATE TRIGGER prediction_no_update BEFORE UPDATE ON prediction
                BEGIN SELECT RAISE(ABORT, 'rows of prediction are never altered or deleted'); END;
CREATE TRIGGER prediction_no_delete BEFORE DELETE ON prediction
                BEGIN SELECT RAISE(ABORT, 'rows of prediction are never altered or deleted'); END;
CREATE TRIGGER event_no_update BEFORE UPDATE ON event
                BEGIN SELECT RAISE(ABORT, 'rows of event are never altered or deleted'); END;
CREATE TRIGGER event_no_delete BEFORE DELETE ON event
                BEGIN SELECT RAISE(ABORT, 'rows of event are never altered or deleted'); END;
CREATE TRIGGER wire_log_no_update BEFORE UPDATE ON wire_log
                BEGIN SELECT RAISE(ABORT, 'rows of wire_log are never altered or deleted'); END;
CREATE TRIGGER wire_log_no_delete BEFORE DELETE ON wire_log
                BEGIN SELECT RAISE(ABORT, 'rows of wire_log are never altered or deleted'); END;
CREATE TRIGGER calibration_one_open BEFORE INSERT ON calibration
        WHEN EXISTS (SELECT 1 FROM calibration c WHERE c.machine_id = NEW.machine_id AND
            NOT EXISTS (SELECT 1 FROM calibration_close e WHERE e.calibration_id = c.id))
        BEGIN SELECT RAISE(ABORT, 'this machine has an open calibration'); END;
CREATE TRIGGER condition_no_update BEFORE UPDATE ON condition
            BEGIN SELECT RAISE(ABORT, 'rows of condition are never altered or deleted'); END;
CREATE TRIGGER condition_no_delete BEFORE DELETE ON condition
            BEGIN SELECT RAISE(ABORT, 'rows of condition are never altered or deleted'); END;
CREATE TRIGGER delivery_no_update BEFORE UPDATE ON delivery
            BEGIN SELECT RAISE(ABORT, 'rows of delivery are never altered or deleted'); END;
CREATE TRIGGER delivery_no_delete BEFORE DELETE ON delivery
            BEGIN SELECT RAISE(ABORT, 'rows of delivery are never altered or deleted'); END;
COMMIT;
