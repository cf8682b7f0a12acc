package command_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/command"
)

// writers are the flags that name a file to write, by command, with what makes the command write one.
// "-" stands for the value of the flag.
var writers = map[string]string{
	"frets --svg":                "frets guitar-12edo --svg -",
	"frets --pdf":                "frets guitar-12edo --pdf -",
	"instrument export --output": "instrument export guitar-12edo --output -",
	"instrument new --output":    "instrument new --open E4 --tuning 12edo --scale 650 --count 12 --output -",
	"tuning new --output":        "tuning new --name Nine --spec 9edo --repeat 2/1 --reference A4=440 --output -",
	"instrument show --svg":      "instrument show guitar-12edo --svg -",
	"tuning show --svg":          "tuning show 31edo --svg -",
	"tuning compare --svg":       "tuning compare --divisions 5..40 --svg -",
	"tuning export --output":     "tuning export 31edo --as toml --output -",
	"tuning import --output":     "tuning import keys.syx --as csv --output -",
	"tone --output":              "tone A4 --seconds 0.1 --output -",
	"detune --svg":               "detune guitar-12edo --chord x02220\tas\t4:6:8:10:12 --explore --svg -",
	"detune --output":            "detune guitar-12edo --chord x02220\tas\t4:6:8:10:12 --shapes none --output -",
	"intonation --check":         "intonation --instrument guitar-12edo --from takes --keep=false --check -",
	"intonation --html":          "intonation --instrument guitar-12edo --from takes --keep=false --html -",
	"intonation --pdf":           "intonation --instrument guitar-12edo --from takes --keep=false --pdf -",
	"intonation --svg":           "intonation --instrument guitar-12edo --from takes --keep=false --svg -",
	"intonation report --html":   "intonation report kept.json --html -",
	"intonation report --pdf":    "intonation report kept.json --pdf -",
	"intonation report --svg":    "intonation report kept.json --svg -",
	"journal drift --svg":        "journal drift guitar-12edo --journal diary.db --svg -",
	"journal export --output":    "journal export --journal diary.db --output -",
	"journal salvage --output":   "journal salvage --journal diary.db --output -",
}

// readers are the flags that name a file to read, or the journal and what is known of a coupling, which
// are files of their own kind: another file in the place of --known is refused (coupling.txtar).
var readers = map[string]bool{
	"--journal": true, "--known": true, "--plan": true, "--measured": true, "--measure": true, "--before": true,
}

// fileFlags lists the flags of a command and of those below it that name a file and do not read it.
func fileFlags(cmd *cobra.Command, path string) []string {
	var all []string
	cmd.LocalFlags().VisitAll(func(f *pflag.Flag) {
		value, _ := pflag.UnquoteUsage(f)
		name := "--" + f.Name
		if (value == "FILE" || f.Value.Type() == "FILE") && !readers[name] {
			all = append(all, strings.TrimSpace(path+" "+name))
		}
	})
	for _, c := range cmd.Commands() {
		all = append(all, fileFlags(c, strings.TrimSpace(path+" "+c.Name()))...)
	}
	return all
}

// overwriting is the script for one flag: a file that the command did not make stays as it is, every
// byte of it, until --force is said; what is written is told.
func overwriting(args string) string {
	with := func(file string, more ...string) string {
		var quoted []string
		for _, a := range append(strings.Split(args, " "), more...) {
			if a == "-" {
				a = file
			}
			quoted = append(quoted, "'"+strings.ReplaceAll(a, "\t", " ")+"'")
		}
		return strings.Join(quoted, " ")
	}
	return `cp take.flac out.toml
! exec tunerd ` + with("out.toml") + `
stderr 'out.toml is there already'
stderr -count=1 'hint: --force writes over it'
! stdout .
cmp take.flac out.toml
exec tunerd ` + with("out.toml", "--force") + `
stderr 'tunerd: wrote out.toml'
! cmp take.flac out.toml
exec tunerd ` + with("new.toml") + `
stderr 'tunerd: wrote new.toml'
exists new.toml
mkdir folder
! exec tunerd ` + with("folder", "--force") + `
stderr 'cannot write folder: it is there already, and is no file'
rm out.toml new.toml folder
`
}

// TestNothingIsWrittenOver tries every flag of the command tree that names a file to write.
func TestNothingIsWrittenOver(t *testing.T) {
	var script strings.Builder
	script.WriteString(`exec tunerd tuning export 31edo --as mts-bulk --output keys.syx
mkdir takes
pluck takes/6-open.wav 82.407 3
pluck takes/6-5.wav 110.02 3
pluck takes/6-12.wav 164.85 3
exec tunerd intonation --instrument guitar-12edo --from takes --check kept.json --journal diary.db --keep
exec tunerd measure --keep --journal diary.db --instrument guitar-12edo takes/6-open.wav
`)
	seen := map[string]bool{}
	for _, flag := range fileFlags(command.NewRoot(command.Deps{}), "") {
		args, ok := writers[flag]
		if !ok {
			t.Errorf("%s names a file: say above how it is written, or that it is read", flag)
			continue
		}
		seen[flag] = true
		script.WriteString("# " + flag + "\n" + overwriting(args))
	}
	for flag := range writers {
		if !seen[flag] {
			t.Errorf("there is no %s", flag)
		}
	}
	script.WriteString(`
# A guided check goes on with its own file, and takes no other.
cp take.flac out.json
! exec tunerd intonation --instrument guitar-12edo --input takes/6-open.wav --keep=false --check out.json
stderr '--force writes over this one'
! exec tunerd intonation --instrument guitar-12edo --input takes/6-open.wav --keep=false --check out.json --fresh
cmp take.flac out.json
exec tunerd intonation --instrument guitar-12edo --input takes/6-open.wav --keep=false --check out.json --force
! cmp take.flac out.json
exec tunerd intonation --instrument guitar-12edo --input takes/6-open.wav --keep=false --check out.json
stderr 'going on with out.json'

# Of several pages none is written where one may not be.
cp take.flac board-2.svg
! exec tunerd frets guitar-12edo --paper a4 --svg board.svg
stderr 'board-2.svg is there already'
! exists board-1.svg
cmp take.flac board-2.svg
-- take.flac --
fLaC is the only one there is
`)
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "overwrite.txtar"), []byte(script.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	bin := buildProgram(t)
	testscript.Run(t, testscript.Params{
		Dir: dir,
		Setup: func(env *testscript.Env) error {
			env.Setenv("PATH", filepath.Dir(bin)+string(os.PathListSeparator)+env.Getenv("PATH"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"pluck": pluck},
	})
}

// TestOneWayToWrite: no file of this package makes a file but by the flags above.
func TestOneWayToWrite(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	// keep.go writes tunerd-unsaved-…, a new name each; coupling.go what it has read before, and nothing else; unitsflag.go
	// the choice of units, in the configuration folder.
	own := map[string]bool{"keep.go": true, "coupling.go": true, "unitsflag.go": true}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") || name == "writing.go" {
			continue
		}
		source, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, way := range []string{"os.Create(", "os.OpenFile(", "os.WriteFile(", "os.Rename(", "wholefile."} {
			if strings.Contains(string(source), way) && !(own[name] && way == "wholefile.") {
				t.Errorf("%s uses %s; outFile asks before it writes", name, way)
			}
		}
	}
}
