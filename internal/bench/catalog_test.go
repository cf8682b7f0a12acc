package bench

import "testing"

// What was added can be chosen by name, and only so.
func TestCatalogOfFiles(t *testing.T) {
	c := NewCatalog()
	in, err := c.Instrument("violin")
	if err != nil {
		t.Fatal(err)
	}
	mine := *in
	mine.ID = "/home/me/violin.toml"
	if id := c.AddInstrument("violin", &mine); id != "violin-file" {
		t.Errorf("a second violin is called %q", id)
	}
	if _, err := c.Instrument("violin-file"); err != nil {
		t.Error(err)
	}
	if _, err := c.Instrument("/home/me/violin.toml"); err == nil {
		t.Error("a path was taken for an instrument")
	}
	tuning, err := c.Tuning("31edo", "")
	if err != nil {
		t.Fatal(err)
	}
	name := c.AddTuning("mine", tuning)
	if got, err := c.Tuning(name, "A4=430"); err != nil || got.Reference().Hz != 430 {
		t.Errorf("%q: %v, %v", name, got, err)
	}
}
