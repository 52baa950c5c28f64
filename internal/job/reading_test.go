package job

import (
	"context"
	"testing"
)

func TestReadings(t *testing.T) {
	dir := newJob(t, 1)
	before := snapshot(t, dir)
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []Reading{{Pass: 1, Dimension: "A", MM: 45.3}, {Pass: 1, Dimension: "B", MM: 20}, {Pass: 1, Dimension: "A", MM: 45.28}} {
		if err := s.AddReading(r); err != nil {
			t.Fatal(err)
		}
	}
	// A pass that is added later keeps them.
	if _, err := s.AddPass(context.Background(), testInput(), writeTwo); err != nil {
		t.Fatal(err)
	}
	s.Close()
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(j.Readings) != 2 || j.Readings[0].Dimension != "B" || j.Readings[1].MM != 45.28 {
		t.Errorf("readings are %+v, want B and the later A", j.Readings)
	}
	checkKept(t, before, snapshot(t, dir))
	checkNothingLeft(t, dir)
}
