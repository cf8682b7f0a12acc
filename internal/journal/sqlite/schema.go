package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"tunerd/internal/journal"
)

// applicationID marks the files as journals of this program: "tund" in ASCII.
const applicationID = 0x74756e64

// migrations lead from each version of the schema to the next: the first to version 1. A step
// that has been published is never changed; a new one follows it.
var migrations = []migration{
	// Times are milliseconds since 1970, UTC. AUTOINCREMENT: the number of a deleted session is
	// not given to another. The clustered key of reading makes a session one range of the file.
	{sql: `CREATE TABLE session (
		id INTEGER PRIMARY KEY AUTOINCREMENT,
		uid TEXT NOT NULL UNIQUE,
		kind TEXT NOT NULL,
		started_ms INTEGER NOT NULL,
		ended_ms INTEGER,
		program TEXT NOT NULL,
		input TEXT NOT NULL,
		rate_hz INTEGER NOT NULL,
		clock_ppm REAL NOT NULL,
		clock_sigma_ppm REAL NOT NULL,
		clock_by TEXT NOT NULL,
		instrument TEXT NOT NULL,
		strings TEXT NOT NULL, -- JSON array
		tuning TEXT NOT NULL,
		reference TEXT NOT NULL,
		plan TEXT NOT NULL,
		note TEXT NOT NULL,
		data TEXT NOT NULL,
		readings INTEGER NOT NULL -- rows of reading
	);
	CREATE INDEX session_by_start ON session (started_ms);
	CREATE INDEX session_by_instrument ON session (instrument, started_ms);
	CREATE TABLE reading (
		session_id INTEGER NOT NULL REFERENCES session (id) ON DELETE CASCADE,
		seq INTEGER NOT NULL, -- from 1, in the order of measuring
		file TEXT NOT NULL,
		string INTEGER NOT NULL,
		fret INTEGER NOT NULL,
		harmonic INTEGER NOT NULL,
		label TEXT NOT NULL,
		mark TEXT NOT NULL,
		time_s REAL, target_hz REAL, f1_hz REAL, sigma_cents REAL, cents REAL,
		attack_f1_hz REAL, partial1_hz REAL, inharmonicity REAL, snr_db REAL, from_s REAL, to_s REAL,
		PRIMARY KEY (session_id, seq)
	) WITHOUT ROWID;`},
	// What happens to an instrument between sessions. String 0 is all of them.
	{sql: `CREATE TABLE event (
		id INTEGER PRIMARY KEY AUTOINCREMENT,
		uid TEXT NOT NULL UNIQUE,
		at_ms INTEGER NOT NULL,
		instrument TEXT NOT NULL,
		string INTEGER NOT NULL,
		kind TEXT NOT NULL,
		text TEXT NOT NULL
	);
	CREATE INDEX event_by_instrument ON event (instrument, at_ms);`},
	// A listing is read off this index alone: rows may be long, with data on pages of their own.
	{sql: `DROP INDEX session_by_start;
	DROP INDEX session_by_instrument;
	CREATE INDEX session_by_instrument ON session (instrument, started_ms, uid);
	CREATE INDEX session_list ON session (started_ms, uid, kind, ended_ms, program, input, rate_hz,
		clock_ppm, clock_sigma_ppm, clock_by, instrument, tuning, reference, plan, note, readings);`},
	// An instrument is known by what it is, not by where its file lies. Readings come in batches, each
	// with a sum over its bytes (journal.AppendBatch).
	{sql: `ALTER TABLE session ADD COLUMN identity TEXT NOT NULL DEFAULT '';
	ALTER TABLE event ADD COLUMN identity TEXT NOT NULL DEFAULT '';
	DROP INDEX session_by_instrument;
	CREATE INDEX session_by_instrument ON session (identity, instrument, started_ms, uid);
	DROP INDEX session_list;
	CREATE INDEX session_list ON session (started_ms, uid, kind, ended_ms, program, input, rate_hz,
		clock_ppm, clock_sigma_ppm, clock_by, instrument, identity, tuning, reference, plan, note, readings);
	DROP INDEX event_by_instrument;
	CREATE TABLE batch (
		session_id INTEGER NOT NULL REFERENCES session (id) ON DELETE CASCADE,
		first INTEGER NOT NULL, -- number of its first reading in the session, from 1
		count INTEGER NOT NULL,
		data BLOB NOT NULL,
		PRIMARY KEY (session_id, first)
	) WITHOUT ROWID;`, then: batchReadings},
}

// A migration is one step: statements, and what is done after them.
type migration struct {
	sql  string
	then func(ctx context.Context, tx *sql.Tx) error
}

// batchReadings puts the readings that were rows into batches.
func batchReadings(ctx context.Context, tx *sql.Tx) error {
	rows, err := tx.QueryContext(ctx, `SELECT s.id, s.uid, r.seq, r.file, r.string, r.fret, r.harmonic, r.label, r.mark,
		r.time_s, r.target_hz, r.f1_hz, r.sigma_cents, r.cents, r.attack_f1_hz, r.partial1_hz, r.inharmonicity, r.snr_db, r.from_s, r.to_s
		FROM reading r JOIN session s ON s.id = r.session_id ORDER BY r.session_id, r.seq`)
	if err != nil {
		return err
	}
	defer rows.Close()
	put, err := tx.PrepareContext(ctx, putBatchQuery)
	if err != nil {
		return err
	}
	defer put.Close()
	var s, next journal.Session
	var b journal.Batch
	for rows.Next() {
		var seq int
		var r journal.Reading
		var n [11]sql.NullFloat64
		err := rows.Scan(&next.ID, &next.UID, &seq, &r.File, &r.String, &r.Fret, &r.Harmonic, &r.Label, &r.Mark,
			&n[0], &n[1], &n[2], &n[3], &n[4], &n[5], &n[6], &n[7], &n[8], &n[9], &n[10])
		if err != nil {
			return err
		}
		for i, x := range []*float64{&r.TimeS, &r.TargetHz, &r.F1Hz, &r.SigmaCents, &r.Cents, &r.AttackF1Hz, &r.Partial1Hz, &r.B, &r.SNRdB, &r.FromS, &r.ToS} {
			if *x = n[i].Float64; !n[i].Valid {
				*x = journal.Unknown
			}
		}
		if next.ID != s.ID || seq != b.First+len(b.Readings) || len(b.Readings) >= journal.MaxBatch {
			if err := putBatch(ctx, put, &s, b); err != nil {
				return err
			}
			s, b = next, journal.Batch{First: seq}
		}
		b.Readings = append(b.Readings, r)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if err := putBatch(ctx, put, &s, b); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "DROP TABLE reading")
	return err
}

// migrate brings the schema to the newest version, in one transaction. It refuses a database of
// another program, and one of a later version.
func migrate(ctx context.Context, db *sql.DB) error {
	version, err := schemaVersion(ctx, db)
	if err != nil || version == len(migrations) {
		return err
	}
	if version == 0 {
		// Where the file system cannot have it, such as on a network, SQLite keeps to a rollback journal.
		if _, err := db.ExecContext(ctx, "PRAGMA journal_mode = wal"); err != nil {
			return err
		}
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	// Another process may have migrated since.
	if err := tx.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	for ; version < len(migrations); version++ {
		step := &migrations[version]
		_, err := tx.ExecContext(ctx, step.sql)
		if err == nil && step.then != nil {
			err = step.then(ctx, tx)
		}
		if err != nil {
			return fmt.Errorf("schema %d to %d: %w", version, version+1, err)
		}
	}
	marks := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, version)
	if _, err := tx.ExecContext(ctx, marks); err != nil {
		return err
	}
	return tx.Commit()
}

// schemaVersion reads the version of the schema, 0 for an empty database.
func schemaVersion(ctx context.Context, db *sql.DB) (version int, err error) {
	var id, tables int
	for _, q := range []struct {
		query string
		dst   *int
	}{
		// Tables first: another process makes them and the marks in one transaction, which may end in between.
		{"SELECT count(*) FROM sqlite_schema", &tables},
		{"PRAGMA user_version", &version},
		{"PRAGMA application_id", &id},
	} {
		if err := db.QueryRowContext(ctx, q.query).Scan(q.dst); err != nil {
			return 0, err
		}
	}
	switch {
	case tables == 0:
		return 0, nil
	case id != applicationID:
		return 0, refusal{errors.New("this database is not a journal of tunerd")}
	case version > len(migrations):
		return 0, refusal{fmt.Errorf("written by a newer tunerd: its schema is %d, this one knows up to %d", version, len(migrations))}
	}
	return version, nil
}
