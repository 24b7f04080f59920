"""The store's tables, as named and ordered migrations. Applied once each, each in a transaction.

Times are whole milliseconds of wall time since 1970 UTC unless a name says `mono`. `seq` is the journal's
sequence number: one per input, across `readings` and `inputs` together, never reused.
"""

MIGRATIONS: list[tuple[str, str]] = [
    (
        "0001-first",
        """
        CREATE TABLE series (
            id INTEGER PRIMARY KEY, sensor TEXT NOT NULL UNIQUE, quantity TEXT NOT NULL,
            unit TEXT NOT NULL, space TEXT, zone TEXT NOT NULL);
        -- A reading's row is its journal entry too; no second copy. The key is (ts, series) in one number:
        -- that, and few columns, keep a reading under 30 bytes (a column costs a byte even when empty).
        CREATE TABLE readings (
            id INTEGER PRIMARY KEY,       -- ts * 16384 + series
            value REAL NOT NULL,          -- canonical unit, as received: no correction applied
            seq INTEGER NOT NULL,
            delay INTEGER NOT NULL,       -- arrival minus ts
            skew INTEGER NOT NULL,        -- arrival by the monotonic clock, minus arrival by the wall
            fate INTEGER NOT NULL,        -- quality, own_time, mark, delivery, board_seq: see store.packing
            ts INTEGER AS (id >> 14) VIRTUAL,       -- when it was true: the board's time, else arrival
            series INTEGER AS (id & 16383) VIRTUAL);
        -- Readings that a search by time would not find near their arrival; the long delayed are few.
        CREATE INDEX readings_odd ON readings (seq) WHERE delay NOT BETWEEN -600000 AND 600000;
        -- Codes of marks and deliveries, given as they first turn up. 0 is no mark, and live.
        CREATE TABLE words (code INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE);
        -- The same with every column by its name, for whoever asks by hand.
        CREATE VIEW readings_named AS SELECT
            s.sensor, s.quantity, s.unit, s.space, s.zone, r.ts, r.value, r.seq, r.ts + r.delay AS arrived,
            r.fate & 3 AS quality, r.fate >> 2 & 1 AS own_time,
            (SELECT word FROM words WHERE code = r.fate >> 3 & 63) AS mark,
            coalesce((SELECT word FROM words WHERE code = r.fate >> 9 & 63), 'live') AS delivery,
            nullif(r.fate >> 15, 0) - 1 AS board_seq
            FROM readings r JOIN series s ON s.id = r.series;
        CREATE TABLE inputs (
            seq INTEGER PRIMARY KEY, wall_ms INTEGER NOT NULL, mono_ms INTEGER NOT NULL,
            kind TEXT NOT NULL,           -- class name in core.inputs
            body TEXT NOT NULL);          -- its fields, JSON
        CREATE TABLE segments (
            id INTEGER PRIMARY KEY, first_seq INTEGER NOT NULL, wall_ms INTEGER NOT NULL,
            mono_ms INTEGER NOT NULL, config TEXT NOT NULL, version TEXT NOT NULL,
            why TEXT NOT NULL,            -- start, six hours, settings, clock step, store back
            time_unsure INTEGER NOT NULL DEFAULT 0,
            snapshot TEXT NOT NULL);      -- Farm.snapshot() before the first input of the segment, JSON
        CREATE TABLE configs (
            digest TEXT PRIMARY KEY, first_used INTEGER NOT NULL,
            files TEXT NOT NULL);         -- {"farm.yaml": text, "species/x.yaml": text}, JSON
        CREATE TABLE events (
            id INTEGER PRIMARY KEY, seq INTEGER NOT NULL, ts INTEGER NOT NULL, kind TEXT NOT NULL,
            subject TEXT NOT NULL, space TEXT, reason TEXT,
            facts TEXT NOT NULL,          -- JSON
            causes TEXT NOT NULL);        -- JSON list of seq
        CREATE INDEX events_ts ON events (ts);
        CREATE TABLE commands (
            id INTEGER PRIMARY KEY, seq INTEGER NOT NULL, ts INTEGER NOT NULL, relay TEXT NOT NULL,
            is_on INTEGER NOT NULL, lease_ms INTEGER NOT NULL, authority INTEGER NOT NULL,
            reason TEXT NOT NULL, facts TEXT NOT NULL, causes TEXT NOT NULL,
            renewal INTEGER NOT NULL, advise INTEGER NOT NULL);
        CREATE INDEX commands_ts ON commands (ts);
        CREATE TABLE alarms (
            id INTEGER PRIMARY KEY, seq INTEGER NOT NULL, ts INTEGER NOT NULL, alarm TEXT NOT NULL,
            kind TEXT NOT NULL, occurrence INTEGER NOT NULL, transition TEXT NOT NULL,
            priority INTEGER NOT NULL, state TEXT NOT NULL, announce INTEGER NOT NULL, space TEXT,
            who TEXT NOT NULL, facts TEXT NOT NULL);
        CREATE INDEX alarms_ts ON alarms (ts);
        -- Messages to people. Marked sent only after the channel said yes.
        CREATE TABLE outbox (
            id INTEGER PRIMARY KEY, ts INTEGER NOT NULL, channel TEXT NOT NULL, alarm TEXT,
            occurrence INTEGER, subject TEXT NOT NULL, text TEXT NOT NULL,
            attempts INTEGER NOT NULL DEFAULT 0, next_try INTEGER NOT NULL, last_error TEXT,
            sent INTEGER,
            attachments TEXT);            -- JSON, as the sender of the message wrote it; NULL for none
        CREATE INDEX outbox_open ON outbox (next_try) WHERE sent IS NULL;
        -- Lines for the mirror. Marked sent only after the 2xx.
        CREATE TABLE mirror_outbox (
            id INTEGER PRIMARY KEY, ts INTEGER NOT NULL, line TEXT NOT NULL, sent INTEGER,
            parked TEXT);                 -- why the receiver refused this line
        CREATE INDEX mirror_open ON mirror_outbox (id) WHERE sent IS NULL AND parked IS NULL;
        CREATE INDEX mirror_sent ON mirror_outbox (sent) WHERE sent IS NOT NULL;
        CREATE TABLE counters (
            day TEXT NOT NULL, name TEXT NOT NULL, subject TEXT NOT NULL, n INTEGER NOT NULL,
            PRIMARY KEY (day, name, subject)) WITHOUT ROWID;
        CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
        """,
    ),
    (
        "0002-by-number",
        """
        -- A replay asks for what followed from a range of inputs, in a log of years.
        CREATE INDEX commands_seq ON commands (seq);
        CREATE INDEX events_seq ON events (seq);
        CREATE INDEX alarms_seq ON alarms (seq);
        -- All that finding a stretch needs, so that nobody reads past the snapshots, which are big.
        CREATE INDEX segments_seq ON segments (first_seq, id, wall_ms, mono_ms, time_unsure);
        """,
    ),
    (
        "0003-hours",
        """
        -- Each sensor's hours, kept when their readings are gone. See store.hours.
        CREATE TABLE hours (
            id INTEGER PRIMARY KEY,       -- begin of the hour * 16384 + series: the key of the readings
            n INTEGER NOT NULL,           -- readings that counted
            known_ms INTEGER NOT NULL,    -- time one of them held
            least REAL NOT NULL, most REAL NOT NULL,
            mean REAL NOT NULL);          -- over the time known
        CREATE TABLE hours_due (begin INTEGER PRIMARY KEY);  -- hours still to be summed up
        CREATE VIEW hours_named AS SELECT
            s.sensor, s.quantity, s.unit, s.space, s.zone, h.id >> 14 AS begin, h.n, h.known_ms, h.least,
            h.most, h.mean
            FROM hours h JOIN series s ON s.id = h.id & 16383;
        -- The hours of what is stored already, each found by one look.
        WITH RECURSIVE hour (begin) AS (
            SELECT (min(id) >> 14) / 3600000 * 3600000 FROM readings
            UNION ALL
            SELECT (SELECT (min(id) >> 14) / 3600000 * 3600000 FROM readings
                    WHERE id >= (hour.begin + 3600000) << 14)
            FROM hour WHERE hour.begin IS NOT NULL)
        INSERT INTO hours_due SELECT begin FROM hour WHERE begin IS NOT NULL;
        """,
    ),
    (
        "0004-chain",
        """
        -- Each row of the log is sealed into a chain; see store.chain. Rows from before carry no seal.
        ALTER TABLE events ADD COLUMN place INTEGER;
        ALTER TABLE events ADD COLUMN link BLOB;
        ALTER TABLE commands ADD COLUMN place INTEGER;
        ALTER TABLE commands ADD COLUMN link BLOB;
        ALTER TABLE alarms ADD COLUMN place INTEGER;
        ALTER TABLE alarms ADD COLUMN link BLOB;
        ALTER TABLE inputs ADD COLUMN place INTEGER;  -- only of the kinds people and settings give
        ALTER TABLE inputs ADD COLUMN link BLOB;
        CREATE INDEX inputs_sealed ON inputs (place) WHERE place IS NOT NULL;
        -- What the store itself says in the chain: its begin, hours' readings, what was removed or erased.
        CREATE TABLE marks (
            id INTEGER PRIMARY KEY, ts INTEGER NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
            place INTEGER NOT NULL, link BLOB NOT NULL);
        -- Who stands behind `~1` in the log. AUTOINCREMENT: a number is never given to somebody else.
        CREATE TABLE people (code INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE);
        """,
    ),
]
