"""The schema's steps about the craft: lasers, surfaces, recipes, cards, readings, verdicts.

`after_run_id` is the newest run there was when something was noted: beam hours are counted from
run to run, whatever the clock did. `found_on_json` is the surface as it was then, because the
next box of tiles is written over it.
"""

from typing import Final

# How long the beam was on and how fast it really went, once a run is over. A row counts by its
# samples; the beam is on over the share of the picture's width that is burnt.
_SUMMED: Final = """
    UPDATE run SET
        feed_run_mm_per_min = measured.feed,
        power_run_ratio = measured.power,
        beam_s = json_extract(run.sheet_json, '$.coverage') * run.width_mm * run.etched_rows * 60
            / coalesce(nullif(measured.feed, 0), run.recipe_feed_mm_per_min)
    FROM (
        SELECT summed.id AS id,
            sum(samples * feed_mean_mm_per_min)
                / sum(iif(feed_mean_mm_per_min IS NULL, 0, samples)) AS feed,
            sum(samples * power_mean_ratio)
                / sum(iif(power_mean_ratio IS NULL, 0, samples)) AS power
        FROM run AS summed LEFT JOIN run_row ON run_row.run_id = summed.id
        WHERE summed.ended IS NOT NULL AND {which}
        GROUP BY summed.id
    ) AS measured
    WHERE run.id = measured.id
"""
SUM_RUN: Final = _SUMMED.format(which="summed.id = ?")

CATALOGUE: Final = (
    """
    CREATE TABLE head (
        name TEXT PRIMARY KEY,
        head_json TEXT NOT NULL,
        notes TEXT NOT NULL,
        is_practice INTEGER NOT NULL CHECK (is_practice IN (0, 1)),
        who TEXT NOT NULL,
        changed_at_utc TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE lens_wipe (
        id INTEGER PRIMARY KEY,
        head TEXT NOT NULL REFERENCES head (name),
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE surface (
        name TEXT PRIMARY KEY,
        surface_json TEXT NOT NULL,
        is_practice INTEGER NOT NULL CHECK (is_practice IN (0, 1)),
        who TEXT NOT NULL,
        changed_at_utc TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE card (
        number INTEGER PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('power', 'tone', 'register')),
        head TEXT NOT NULL REFERENCES head (name),
        surface TEXT NOT NULL REFERENCES surface (name),
        found_on_json TEXT NOT NULL,
        gcode_sha256 TEXT NOT NULL,
        layout_packed TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL,
        software TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        card_number INTEGER NOT NULL REFERENCES card (number),
        way TEXT NOT NULL CHECK (way IN ('camera', 'hand', 'both')),
        measured_packed TEXT NOT NULL,
        marks_json TEXT NOT NULL,
        photos_json TEXT NOT NULL,
        summary_json TEXT NOT NULL,
        recommended_json TEXT,
        chosen_json TEXT,
        chosen_at_utc TEXT,
        chosen_by TEXT,
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL,
        software TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE recipe (
        id INTEGER PRIMARY KEY,
        head TEXT NOT NULL REFERENCES head (name),
        surface TEXT NOT NULL REFERENCES surface (name),
        found_on_json TEXT NOT NULL,
        feed_mm_per_min REAL NOT NULL,
        power_ratio REAL NOT NULL,
        line_spacing_mm REAL NOT NULL,
        is_air_assist INTEGER NOT NULL CHECK (is_air_assist IN (0, 1)),
        halftone TEXT NOT NULL,
        tone_curve_json TEXT,
        origin TEXT NOT NULL CHECK (origin IN ('card', 'reading', 'hand', 'practice')),
        reading_id INTEGER REFERENCES reading (id),
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL,
        software TEXT NOT NULL,
        retired_at_utc TEXT
    ) STRICT
    """,
    """
    CREATE TABLE verdict (
        id INTEGER PRIMARY KEY,
        run_id INTEGER NOT NULL REFERENCES run (id),
        verdict TEXT NOT NULL CHECK (verdict IN (
            'good', 'pale', 'patchy', 'banded', 'doubled', 'shifted', 'rubbed off',
            'glaze damaged', 'broken'
        )),
        cause TEXT NOT NULL,
        note TEXT NOT NULL,
        photo TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL
    ) STRICT
    """,
    "CREATE INDEX lens_wipe_of_head ON lens_wipe (head, id)",
    "CREATE INDEX card_of_pair ON card (head, surface)",
    "CREATE INDEX reading_of_card ON reading (card_number, id)",
    "CREATE INDEX recipe_of_pair ON recipe (head, surface, id)",
    "CREATE INDEX verdict_of_run ON verdict (run_id, id)",
    "CREATE INDEX run_of_gcode ON run (gcode_sha256, id)",
    "CREATE INDEX run_of_head ON run (head, surface, id)",
    "ALTER TABLE run ADD COLUMN beam_s REAL",
    "ALTER TABLE run ADD COLUMN feed_run_mm_per_min REAL",
    "ALTER TABLE run ADD COLUMN power_run_ratio REAL",
    _SUMMED.format(which="TRUE"),
)

# One order for everything, whatever the clock did: two notes of one second, a clock set back.
_SEEN: Final = {
    "lens wiped": ("lens_wipe", "id", "at_utc"),
    "card": ("card", "number", "at_utc"),
    "run": ("run", "id", "started_at_utc"),
    "reading": ("reading", "id", "at_utc"),
    "recipe": ("recipe", "id", "at_utc"),
    "verdict": ("verdict", "id", "at_utc"),
}
_ALL_SEEN: Final = " UNION ALL ".join(
    f"SELECT '{kind}' AS kind, {key} AS entry_id, {at} AS at_utc, {rank} AS rank FROM {table}"  # noqa: S608
    for rank, (kind, (table, key, at)) in enumerate(_SEEN.items())
)
HAPPENINGS: Final = (
    """
    CREATE TABLE happening (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        entry_id INTEGER NOT NULL,
        UNIQUE (kind, entry_id)
    ) STRICT
    """,
    "INSERT INTO happening (kind, entry_id)"  # noqa: S608
    f" SELECT kind, entry_id FROM ({_ALL_SEEN}) ORDER BY at_utc, rank, entry_id",
    *(
        f"""
        CREATE TRIGGER {table}_happened AFTER INSERT ON {table} BEGIN
            INSERT INTO happening (kind, entry_id) VALUES ('{kind}', NEW.{key});
        END
        """  # noqa: S608 (made of constants)
        for kind, (table, key, _) in _SEEN.items()
    ),
)

# The words that a verdict may be grew; a check is only changed by making its table anew.
MORE_VERDICTS: Final = (
    """
    CREATE TABLE verdict_anew (
        id INTEGER PRIMARY KEY,
        run_id INTEGER NOT NULL REFERENCES run (id),
        verdict TEXT NOT NULL CHECK (verdict IN (
            'good', 'pale', 'patchy', 'banded', 'doubled', 'shifted', 'rubbed off',
            'glaze damaged', 'broken', 'cracked or chipped', 'fault in the coat', 'our mistake'
        )),
        cause TEXT NOT NULL,
        note TEXT NOT NULL,
        photo TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL
    ) STRICT
    """,
    "INSERT INTO verdict_anew SELECT * FROM verdict",
    "DROP TABLE verdict",  # its index and its trigger go with it
    "ALTER TABLE verdict_anew RENAME TO verdict",
    "CREATE INDEX verdict_of_run ON verdict (run_id, id)",
    """
    CREATE TRIGGER verdict_happened AFTER INSERT ON verdict BEGIN
        INSERT INTO happening (kind, entry_id) VALUES ('verdict', NEW.id);
    END
    """,
)

# The kinds of cards grow, and a record's own check knows them; a card may remember its place on a
# spare tile. Readings point at cards: the table is made anew under its own name, with the
# pointing checked at the commit.
MORE_CARDS: Final = (
    "PRAGMA defer_foreign_keys = ON",
    "CREATE TABLE card_kept AS SELECT * FROM card",
    "DROP TABLE card",  # its index and its trigger go with it
    """
    CREATE TABLE card (
        number INTEGER PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind <> ''),
        head TEXT NOT NULL REFERENCES head (name),
        surface TEXT NOT NULL REFERENCES surface (name),
        found_on_json TEXT NOT NULL,
        gcode_sha256 TEXT NOT NULL,
        layout_packed TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL,
        software TEXT NOT NULL,
        place_json TEXT
    ) STRICT
    """,
    "INSERT INTO card SELECT *, NULL FROM card_kept",
    "DROP TABLE card_kept",
    "CREATE INDEX card_of_pair ON card (head, surface)",
    """
    CREATE TRIGGER card_happened AFTER INSERT ON card BEGIN
        INSERT INTO happening (kind, entry_id) VALUES ('card', NEW.number);
    END
    """,
)

# A paint's hours are told once: with this lot, or with the newest other one of the same paint.
STATED_DRY_H: Final = """coalesce(nullif(json_extract(lot.lot_json, '$.dry_after_h'), 0.0), (
    SELECT json_extract(other.lot_json, '$.dry_after_h')
    FROM lot AS other JOIN surface AS coat ON coat.name = other.surface
    WHERE json_extract(other.lot_json, '$.dry_after_h') > 0 AND (
        other.surface = lot.surface
        OR nullif(json_extract(coat.surface_json, '$.paint'), '')
            = json_extract(surface.surface_json, '$.paint')
    )
    ORDER BY other.changed_at_utc DESC LIMIT 1
))"""

# A run is on the tile that was assigned last to its G-code when it began, and what continues a run
# on that run's; runs of an import have ended, and bring theirs along.
LOTS: Final = (
    """
    CREATE TABLE lot (
        name TEXT PRIMARY KEY,
        surface TEXT NOT NULL REFERENCES surface (name),
        lot_json TEXT NOT NULL,
        who TEXT NOT NULL,
        changed_at_utc TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE assignment (
        id INTEGER PRIMARY KEY,
        gcode_sha256 TEXT NOT NULL,
        lot TEXT REFERENCES lot (name),
        at_utc TEXT NOT NULL,
        who TEXT NOT NULL
    ) STRICT
    """,
    "CREATE INDEX assignment_of_gcode ON assignment (gcode_sha256, id)",
    "ALTER TABLE run ADD COLUMN assignment_id INTEGER REFERENCES assignment (id)",
    "CREATE INDEX run_of_assignment ON run (assignment_id)",
    """
    CREATE TRIGGER run_assigned AFTER INSERT ON run WHEN NEW.ended IS NULL BEGIN
        UPDATE run SET assignment_id = iif(
            NEW.continues_run_id IS NULL,
            (SELECT max(id) FROM assignment WHERE gcode_sha256 = NEW.gcode_sha256),
            (SELECT assignment_id FROM run WHERE id = NEW.continues_run_id)
        ) WHERE id = NEW.id AND assignment_id IS NULL;
    END
    """,
)

JIGS: Final = (
    """
    CREATE TABLE jig (
        name TEXT PRIMARY KEY,
        jig_json TEXT NOT NULL,
        who TEXT NOT NULL,
        changed_at_utc TEXT NOT NULL
    ) STRICT
    """,
)

# The tiles of a run of several: how far each came follows from the run's rows. A verdict without a
# pocket is of the whole run.
TILES: Final = (
    """
    CREATE TABLE run_tile (
        run_id INTEGER NOT NULL REFERENCES run (id),
        pocket INTEGER NOT NULL,
        title TEXT NOT NULL,
        first_row INTEGER NOT NULL,
        rows INTEGER NOT NULL,
        item_id INTEGER REFERENCES order_item (id),
        PRIMARY KEY (run_id, pocket)
    ) STRICT, WITHOUT ROWID
    """,
    "ALTER TABLE verdict ADD COLUMN pocket INTEGER",
    "CREATE INDEX run_tile_of_item ON run_tile (item_id)",
)

# What an item is stands in its JSON; how far it is follows from its proofs, runs and verdicts.
ORDERS: Final = (
    """
    CREATE TABLE customer_order (
        id INTEGER PRIMARY KEY,
        version INTEGER NOT NULL,
        customer TEXT NOT NULL,
        due_on TEXT NOT NULL,
        note TEXT NOT NULL,
        may_use_photo_on TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        who TEXT NOT NULL,
        changed_at_utc TEXT NOT NULL,
        forgotten_at_utc TEXT
    ) STRICT
    """,
    """
    CREATE TABLE order_item (
        id INTEGER PRIMARY KEY,
        order_id INTEGER NOT NULL REFERENCES customer_order (id),
        item_json TEXT NOT NULL,
        tiles INTEGER NOT NULL,
        shown_sha256 TEXT NOT NULL  -- of what a customer would be shown of it now
    ) STRICT
    """,
    """
    CREATE TABLE proof (
        id INTEGER PRIMARY KEY,
        item_id INTEGER NOT NULL REFERENCES order_item (id),
        answer TEXT NOT NULL CHECK (answer IN ('shown', 'yes', 'no', 'changed')),
        shown_sha256 TEXT NOT NULL,
        way TEXT NOT NULL,
        at_utc TEXT NOT NULL,
        who TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE shop (
        name TEXT PRIMARY KEY CHECK (name = 'figures'),
        figures_json TEXT NOT NULL,
        who TEXT NOT NULL,
        changed_at_utc TEXT NOT NULL
    ) STRICT
    """,
    "ALTER TABLE assignment ADD COLUMN item_id INTEGER REFERENCES order_item (id)",
    "CREATE INDEX item_of_order ON order_item (order_id)",
    "CREATE INDEX proof_of_item ON proof (item_id, id)",
    "CREATE INDEX assignment_of_item ON assignment (item_id)",
    "CREATE INDEX run_continuing ON run (continues_run_id)",
)

# Tiles of one job may be of several lots. A tile without one is of the assignment's. `mural` is the
# page's name of a picture over several tiles, which no two lots share.
TILE_LOTS: Final = (
    """
    CREATE TABLE assignment_tile (
        assignment_id INTEGER NOT NULL REFERENCES assignment (id),
        pocket INTEGER NOT NULL,
        lot TEXT REFERENCES lot (name),
        mural TEXT NOT NULL,
        PRIMARY KEY (assignment_id, pocket)
    ) STRICT, WITHOUT ROWID
    """,
    "ALTER TABLE assignment ADD COLUMN mural TEXT NOT NULL DEFAULT ''",
    "CREATE INDEX assignment_of_mural ON assignment (mural) WHERE mural <> ''",
    "CREATE INDEX assignment_tile_of_mural ON assignment_tile (mural) WHERE mural <> ''",
    # A column, for an index on what stands in the JSON is refused where a schema is not trusted.
    "ALTER TABLE order_item ADD COLUMN draft TEXT NOT NULL DEFAULT ''",
    "UPDATE order_item SET draft = coalesce(json_extract(item_json, '$.draft'), '')",
    "CREATE INDEX item_of_draft ON order_item (draft) WHERE draft <> ''",
)
# Of a run with one of its tiles, by the names `run` and `run_tile`.
LOT_OF_TILE: Final = """coalesce(
    (SELECT lot FROM assignment_tile WHERE assignment_tile.assignment_id = run.assignment_id
        AND assignment_tile.pocket = run_tile.pocket),
    (SELECT lot FROM assignment WHERE assignment.id = run.assignment_id)
)"""

# Which job lies on the bench: one row, or none.
LOADED_JOB: Final = ("CREATE TABLE loaded_job (gcode_sha256 TEXT NOT NULL) STRICT",)

# The extraction serves whichever laser burns, so a filter belongs to none.
FILTERS: Final = (
    """
    CREATE TABLE filter_change (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        after_run_id INTEGER NOT NULL,
        who TEXT NOT NULL
    ) STRICT
    """,
)
