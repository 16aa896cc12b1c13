PRAGMA application_id = 1165255528;
PRAGMA user_version = 2;
BEGIN TRANSACTION;
CREATE TABLE logbook_note (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        text TEXT NOT NULL
    ) STRICT
    ;
INSERT INTO "logbook_note" VALUES(1,'2026-11-25T08:00:00+00:00','A note.');
CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        title TEXT NOT NULL,
        gcode_sha256 TEXT NOT NULL,
        sheet_json TEXT NOT NULL,  -- the whole job sheet, with an empty index
        rows INTEGER NOT NULL,
        columns INTEGER NOT NULL,
        width_mm REAL NOT NULL,
        height_mm REAL NOT NULL,
        head TEXT NOT NULL,
        head_rated_optical_w REAL NOT NULL,
        head_max_s REAL NOT NULL,
        head_max_feed_mm_per_min REAL NOT NULL,
        head_acceleration_mm_per_s2 REAL NOT NULL,
        head_spot_x_mm REAL NOT NULL,
        head_spot_y_mm REAL NOT NULL,
        surface TEXT NOT NULL,
        recipe_feed_mm_per_min REAL NOT NULL,
        recipe_power_ratio REAL NOT NULL,
        recipe_line_spacing_mm REAL NOT NULL,
        recipe_is_air_assist INTEGER NOT NULL CHECK (recipe_is_air_assist IN (0, 1)),
        dose_j_per_mm2 REAL NOT NULL,
        predicted_s REAL NOT NULL,
        started_at_utc TEXT NOT NULL,
        is_clock_synchronised INTEGER CHECK (is_clock_synchronised IN (0, 1)),
        notes_json TEXT NOT NULL,
        ended TEXT CHECK (ended IN ('complete', 'stopped', 'failed')),
        because TEXT,
        ended_at_utc TEXT,
        elapsed_s REAL,
        etched_rows INTEGER
    ) STRICT
    ;
INSERT INTO "run" VALUES(1,'Lighthouse at dusk','abababababababababababababababababababababababababababababababab','{"format": "etchwarden-job", "version": 1, "title": "Lighthouse at dusk", "photo": {"name": "lighthouse.jpg", "sha256": "cdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcd", "width_px": 1200, "height_px": 900}, "width_mm": 10.0, "height_mm": 2.0, "rows": 20, "columns": 100, "head": {"name": "practice 20 W", "rated_optical_w": 20.0, "spot_x_mm": 0.08, "spot_y_mm": 0.1, "is_spot_measured": true, "max_s": 1000.0, "max_feed_mm_per_min": 10000.0, "acceleration_mm_per_s2": 1500.0, "travel_x_mm": 400.0, "travel_y_mm": 300.0, "register": {"beam_lag_s": 0.0004, "slack_mm": 0.03, "is_measured": true}, "pointer_x_mm": 0.0, "pointer_y_mm": 0.0}, "recipe": {"surface": "practice tile, white paint", "feed_mm_per_min": 4000.0, "power_ratio": 0.6, "line_spacing_mm": 0.1, "air_assist": false}, "halftone": "stucki", "is_both_directions": true, "coverage": 0.4, "dose_j_per_mm2": 1.8, "picture": {"left_mm": 5.0, "bottom_mm": 0.0, "right_mm": 15.0, "top_mm": 2.0}, "motion": {"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 20.0, "top_mm": 2.0}, "predicted_s": 8.0, "gcode_sha256": "abababababababababababababababababababababababababababababababab", "gcode_bytes": 1844, "gcode_lines": 26, "end_line": 24, "index": []}',20,100,10.0,2.0,'practice 20 W',20.0,1000.0,10000.0,1500.0,0.08,0.1,'practice tile, white paint',4000.0,0.6,0.1,0,1.8,8.0,'2026-11-25T17:02:00+00:00',NULL,'{"by": "arm button"}','complete','All rows are etched.','2026-11-25T17:02:08+00:00',8.0,20);
INSERT INTO "run" VALUES(2,'Lighthouse at dusk','abababababababababababababababababababababababababababababababab','{"format": "etchwarden-job", "version": 1, "title": "Lighthouse at dusk", "photo": {"name": "lighthouse.jpg", "sha256": "cdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcd", "width_px": 1200, "height_px": 900}, "width_mm": 10.0, "height_mm": 2.0, "rows": 20, "columns": 100, "head": {"name": "practice 20 W", "rated_optical_w": 20.0, "spot_x_mm": 0.08, "spot_y_mm": 0.1, "is_spot_measured": true, "max_s": 1000.0, "max_feed_mm_per_min": 10000.0, "acceleration_mm_per_s2": 1500.0, "travel_x_mm": 400.0, "travel_y_mm": 300.0, "register": {"beam_lag_s": 0.0004, "slack_mm": 0.03, "is_measured": true}, "pointer_x_mm": 0.0, "pointer_y_mm": 0.0}, "recipe": {"surface": "practice tile, white paint", "feed_mm_per_min": 4000.0, "power_ratio": 0.6, "line_spacing_mm": 0.1, "air_assist": false}, "halftone": "stucki", "is_both_directions": true, "coverage": 0.4, "dose_j_per_mm2": 1.8, "picture": {"left_mm": 5.0, "bottom_mm": 0.0, "right_mm": 15.0, "top_mm": 2.0}, "motion": {"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 20.0, "top_mm": 2.0}, "predicted_s": 8.0, "gcode_sha256": "abababababababababababababababababababababababababababababababab", "gcode_bytes": 1844, "gcode_lines": 26, "end_line": 24, "index": []}',20,100,10.0,2.0,'practice 20 W',20.0,1000.0,10000.0,1500.0,0.08,0.1,'practice tile, white paint',4000.0,0.6,0.1,0,1.8,8.0,'2026-11-25T17:02:00+00:00',NULL,'{"by": "arm button"}',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE run_event (
        id INTEGER PRIMARY KEY,
        run_id INTEGER NOT NULL REFERENCES run (id),
        at_s REAL NOT NULL,
        at_utc TEXT NOT NULL,
        kind TEXT NOT NULL,
        text TEXT NOT NULL,
        details_json TEXT NOT NULL
    ) STRICT
    ;
INSERT INTO "run_event" VALUES(1,1,1.5,'2026-11-25T17:02:01+00:00','warning','Something.','{"row": 3}');
INSERT INTO "run_event" VALUES(2,2,1.5,'2026-11-25T17:02:01+00:00','warning','Something.','{"row": 3}');
CREATE TABLE run_row (
        run_id INTEGER NOT NULL REFERENCES run (id),
        row INTEGER NOT NULL,
        samples INTEGER NOT NULL,
        is_estimated INTEGER NOT NULL CHECK (is_estimated IN (0, 1)),
        feed_mean_mm_per_min REAL,
        feed_min_mm_per_min REAL,
        feed_max_mm_per_min REAL,
        power_mean_ratio REAL,
        power_min_ratio REAL,
        power_max_ratio REAL,
        at_s REAL NOT NULL,
        PRIMARY KEY (run_id, row)
    ) STRICT, WITHOUT ROWID
    ;
INSERT INTO "run_row" VALUES(1,0,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,0.0);
INSERT INTO "run_row" VALUES(1,1,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,0.4);
INSERT INTO "run_row" VALUES(1,2,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,0.8);
INSERT INTO "run_row" VALUES(1,3,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,1.2);
INSERT INTO "run_row" VALUES(1,4,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,1.6);
INSERT INTO "run_row" VALUES(1,5,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,2.0);
INSERT INTO "run_row" VALUES(1,6,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,2.4);
INSERT INTO "run_row" VALUES(1,7,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,2.8);
INSERT INTO "run_row" VALUES(1,8,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,3.2);
INSERT INTO "run_row" VALUES(1,9,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,3.6);
INSERT INTO "run_row" VALUES(1,10,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,4.0);
INSERT INTO "run_row" VALUES(1,11,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,4.4);
INSERT INTO "run_row" VALUES(1,12,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,4.8);
INSERT INTO "run_row" VALUES(1,13,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,5.2);
INSERT INTO "run_row" VALUES(1,14,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,5.6);
INSERT INTO "run_row" VALUES(1,15,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,6.0);
INSERT INTO "run_row" VALUES(1,16,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,6.4);
INSERT INTO "run_row" VALUES(1,17,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,6.8);
INSERT INTO "run_row" VALUES(1,18,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,7.2);
INSERT INTO "run_row" VALUES(1,19,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,7.6);
INSERT INTO "run_row" VALUES(2,0,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,0.0);
INSERT INTO "run_row" VALUES(2,1,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,0.4);
INSERT INTO "run_row" VALUES(2,2,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,0.8);
INSERT INTO "run_row" VALUES(2,3,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,1.2);
INSERT INTO "run_row" VALUES(2,4,10,0,3990.0,3990.0,3990.0,0.6,0.6,0.6,1.6);
CREATE INDEX run_event_of_run ON run_event (run_id, id);
COMMIT;
