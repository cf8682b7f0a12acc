package sqlite

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
)

// writerEnv makes the test binary a writer of the journal that it names.
const writerEnv = "TUNERD_TEST_WRITER"

// perBatch readings share a commit, so that a torn one would show.
const perBatch = 7

func TestMain(m *testing.M) {
	if path := os.Getenv(writerEnv); path != "" {
		writeForever(path)
	}
	if path := os.Getenv(readerEnv); path != "" {
		listAndEnd(path)
	}
	code := m.Run()
	if benchFolder != "" {
		os.RemoveAll(benchFolder)
	}
	os.Exit(code)
}

// writeForever keeps a session of batches without end, and says of each that it is stored.
func writeForever(path string) {
	j, err := open(path, true)
	session := journal.Session{UID: fmt.Sprint(os.Getpid(), time.Now().UnixNano()), Kind: "listen", Started: time.Now(), Note: strings.Repeat("a remark that fills pages ", 40)}
	for err == nil {
		b := journal.Batch{First: session.Readings + 1}
		for i := range perBatch {
			b.Readings = append(b.Readings, numbered(session.Readings+i))
		}
		session.Readings += perBatch
		var id int64
		if id, err = j.Put(context.Background(), &session, b); err == nil {
			fmt.Println("stored", id, session.Readings)
		}
	}
	fmt.Println(err)
	os.Exit(1)
}

// numbered returns a reading whose fields all tell the same number.
func numbered(i int) journal.Reading {
	return journal.Reading{TimeS: float64(i), F1Hz: float64(i), String: i, Label: strings.Repeat(strconv.Itoa(i), 9)}
}

// TestKilledWriterLosesAndTearsNothing kills a process with SIGKILL in the middle of its writing,
// 200 times. What it has said to be stored must be there, and no batch may be there in part.
//
// Every tenth journal is a new one, so that the first pages are torn at too.
func TestKilledWriterLosesAndTearsNothing(t *testing.T) {
	kills, killsPerFile := 200, 10
	if testing.Short() {
		kills = 20
	}
	seed := uint64(7)
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	said := map[int64]int{} // readings of each session
	path := ""
	for n := range kills {
		if n%killsPerFile == 0 {
			said = map[int64]int{}
			path = filepath.Join(t.TempDir(), "journal.db")
		}
		id, stored := killWriter(t, path, time.Duration(rng.IntN(20_000))*time.Microsecond)
		if id != 0 {
			said[id] = stored
		}
		checkWhole(t, path, said)
		if t.Failed() {
			t.Fatalf("after kill %d", n+1)
		}
	}
}

// killWriter runs a writer until so long after its first word, and returns the session and how
// many of its readings it has said to be stored.
func killWriter(t *testing.T, path string, after time.Duration) (id int64, stored int) {
	t.Helper()
	writer := exec.Command(os.Args[0])
	writer.Env = append(os.Environ(), writerEnv+"="+path)
	out, err := writer.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := writer.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for first := true; lines.Scan(); first = false {
		if first {
			time.AfterFunc(after, func() { writer.Process.Kill() })
		}
		if _, err := fmt.Sscanf(lines.Text(), "stored %d %d", &id, &stored); err != nil && !first {
			break // a line cut by the kill
		} else if err != nil {
			t.Fatalf("the writer said %q", lines.Text())
		}
	}
	writer.Wait()
	return id, stored
}

// checkWhole checks that the file is sound, and every session whole.
func checkWhole(t *testing.T, path string, said map[int64]int) {
	t.Helper()
	j, err := openAt(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	var verdict string
	if err := j.store.db.QueryRow("PRAGMA integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		t.Errorf("integrity check: %q, %v", verdict, err)
	}
	sessions, err := j.Sessions(t.Context(), journal.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	if len(sessions) < len(said) {
		t.Errorf("%d sessions, want at least %d", len(sessions), len(said))
	}
	for _, s := range sessions {
		list, err := j.Readings(t.Context(), s.ID)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) < said[s.ID] || len(list)%perBatch != 0 || len(list) != s.Readings {
			t.Errorf("session %d has %d readings, counts %d; %d were stored, %d at a time", s.ID, len(list), s.Readings, said[s.ID], perBatch)
		}
		for i := range list {
			if want := numbered(i); !journaltest.SameReadings(list[i:i+1], []journal.Reading{want}) {
				t.Errorf("session %d reading %d is %+v", s.ID, i, list[i])
				break
			}
		}
	}
}
