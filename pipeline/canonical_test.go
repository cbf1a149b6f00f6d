package pipeline

import (
	"strings"
	"testing"
)

// The examples of RFC 8785: sections 3.2.2 to 3.2.4 (literals, numbers, strings,
// sorting) and appendix B (doubles as ECMAScript writes them).
func TestCanonicalJSON(t *testing.T) {
	for _, k := range []struct{ in, out string }{
		{`{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}`, `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{`{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`,
			"{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"ö\":\"Latin Small Letter O With Diaeresis\",\"€\":\"Euro Sign\",\"😀\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}"},
		{`[-0, 5e-324, 1.7976931348623157e308, 9007199254740992, 295147905179352830000, 9.999999999999997e22, 1e23, 999999999999999900000, 1e21, 9.999999999999997e-7, 0.000001, -0.0000033333333333333333, 1424953923781206.25]`,
			`[0,5e-324,1.7976931348623157e+308,9007199254740992,295147905179352830000,9.999999999999997e+22,1e+23,999999999999999900000,1e+21,9.999999999999997e-7,0.000001,-0.0000033333333333333333,1424953923781206.2]`},
		{`[]`, `[]`}, {`{}`, `{}`}, {` "a" `, `"a"`}, {`{"a":{"c":[],"b":1}}`, `{"a":{"b":1,"c":[]}}`},
	} {
		got, err := canonicalJSON([]byte(k.in))
		if err != nil || string(got) != k.out {
			t.Errorf("%s\n gives %s %v\n  want %s", k.in, got, err, k.out)
		}
		again, err := canonicalJSON(got)
		if err != nil || string(again) != string(got) {
			t.Errorf("%s is not its own canonical form: %s", got, again)
		}
	}
	for _, bad := range []string{``, `{`, `[1,]`, `{"a":1,"a":2}`, `1 2`, `{"a" 1}`, `nul`, `1e999`, `{"a":1}}`, strings.Repeat("[", 5000)} {
		if got, err := canonicalJSON([]byte(bad)); err == nil {
			t.Errorf("%.20q must be refused, gave %s", bad, got)
		}
	}
}

func FuzzCanonicalJSON(f *testing.F) {
	f.Add([]byte(`{"b":[1,2.5e-9,"\u00e9"],"a":null}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		once, err := canonicalJSON(data)
		if err != nil {
			return
		}
		twice, err := canonicalJSON(once)
		if err != nil || string(once) != string(twice) {
			t.Fatalf("%q, then %q %v", once, twice, err)
		}
	})
}
