package pipeline

import (
	"fmt"
	"testing"

	"tonocohort/schema"
)

// Pseudonyms are the first half of an HMAC-SHA-256, as OpenSSL makes it:
// printf 'subject\0S1' | openssl dgst -sha256 -hmac KEY.
func TestPseudonymsAreHMAC(t *testing.T) {
	k := &key{[]byte("0123456789abcdef0123456789abcdef")}
	for _, c := range []struct{ kind, id, want string }{
		{"subject", "S1", "8b147d33c90081381d6bba5650b80009"}, {"recording", "S1", "ee2fe34e708d818992ba21856e95bc43"},
	} {
		if got := k.pseudonym(c.kind, c.id); got != c.want {
			t.Errorf("%s %s: %s, want %s", c.kind, c.id, got, c.want)
		}
	}
}

// Dates of a person move together, by 1 to 365 days, and about evenly.
func TestDatesMoveTogether(t *testing.T) {
	k := &key{[]byte("0123456789abcdef0123456789abcdef")}
	d := &dates{disguise: &disguise{settings: schema.PrivacySettings{IDs: "as_given", DateShift: "keyed"}, key: k}, days: map[string]int{}}
	counts := map[int]int{}
	for i := range 36500 {
		n := k.daysEarlier(fmt.Sprint("S", i))
		if n < 1 || n > 365 {
			t.Fatalf("%d days", n)
		}
		counts[n]++
	}
	for n, c := range counts {
		if c < 50 || c > 160 { // 100 ± 10: six standard deviations
			t.Errorf("%d days: %d of 36500", n, c)
		}
	}
	if len(counts) != 365 {
		t.Errorf("%d numbers of days", len(counts))
	}
	first, second := d.earlier("S1", "2020-03-01"), d.earlier("S1", "2020-03-01T08:15:00Z")
	if first == "2020-03-01" || second != first+"T08:15:00Z" {
		t.Errorf("%s and %s", first, second)
	}
	if other := d.earlier("S2", "2020-03-01"); other == first {
		t.Errorf("two persons move alike: %s", other)
	}
	if text := d.earlier("S1", "1.3.2020"); text != "" || len(d.notes()) != 1 || d.notes()[0].Code != "dates_left_out" {
		t.Errorf("a date of another form: %q, %v", text, d.notes())
	}
	d.look("2020-03-01 morning")
	if len(d.notes()) != 2 {
		t.Errorf("%v", d.notes())
	}
}
