package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// applicationID marks the files as journals of this program: "tund" in ASCII.
const applicationID = 0x74756e64

// migrations lead from each version of the schema to the next: the first to version 1. A step
// that has been published is never changed; a new one follows it.
var migrations = []string{
	// Times are milliseconds since 1970, UTC. AUTOINCREMENT: the number of a deleted session is
	// not given to another. The clustered key of reading makes a session one range of the file.
	`CREATE TABLE session (
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
	) WITHOUT ROWID;`,
	// What happens to an instrument between sessions. String 0 is all of them.
	`CREATE TABLE event (
		id INTEGER PRIMARY KEY AUTOINCREMENT,
		uid TEXT NOT NULL UNIQUE,
		at_ms INTEGER NOT NULL,
		instrument TEXT NOT NULL,
		string INTEGER NOT NULL,
		kind TEXT NOT NULL,
		text TEXT NOT NULL
	);
	CREATE INDEX event_by_instrument ON event (instrument, at_ms);`,
	// A listing is read off this index alone: rows may be long, with data on pages of their own.
	`DROP INDEX session_by_start;
	DROP INDEX session_by_instrument;
	CREATE INDEX session_by_instrument ON session (instrument, started_ms, uid);
	CREATE INDEX session_list ON session (started_ms, uid, kind, ended_ms, program, input, rate_hz,
		clock_ppm, clock_sigma_ppm, clock_by, instrument, tuning, reference, plan, note, readings);`,
}

// migrate brings the schema to the newest version, in one transaction. It refuses a database of
// another program, and one of a later version.
func (j *Journal) migrate(ctx context.Context) error {
	version, err := j.schemaVersion(ctx)
	if err != nil || version == len(migrations) {
		return err
	}
	if version == 0 {
		// Where the file system cannot have it, such as on a network, SQLite keeps to a rollback journal.
		if _, err := j.db.ExecContext(ctx, "PRAGMA journal_mode = wal"); err != nil {
			return err
		}
	}
	tx, err := j.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	// Another process may have migrated since.
	if err := tx.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	for ; version < len(migrations); version++ {
		if _, err := tx.ExecContext(ctx, migrations[version]); err != nil {
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
func (j *Journal) schemaVersion(ctx context.Context) (version int, err error) {
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
		if err := j.db.QueryRowContext(ctx, q.query).Scan(q.dst); err != nil {
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

// queryer is what a database and a transaction have in common.
type queryer interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}
