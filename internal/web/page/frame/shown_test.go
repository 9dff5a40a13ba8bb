package frame

import "testing"

// html/template escapes < and > in texts and in attributes, so that every < begins a tag.
func TestShown_OnlyTextIsWrittenOut(t *testing.T) {
	for _, tc := range []struct{ html, want string }{
		{"<p>core</p>", "<p>core</p>"},
		{"<p title=\"a\u202eb\">a\u202eb</p>", "<p title=\"a\u202eb\">a[U+202E]b</p>"},
		{"<script>x=\"a\u202eb<\"</script>a\u202eb", "<script>x=\"a\u202eb<\"</script>a[U+202E]b"},
		{"<p>می\u200cخواهم 👨\u200d🍳 café\u200b", "<p>می\u200cخواهم 👨\u200d🍳 café[U+200B]"},
		{"a\u2066<b", "a[U+2066]<b"},
	} {
		if got := string(Reader{}.shown([]byte(tc.html))); got != tc.want {
			t.Errorf("shown(%q) = %q, want %q", tc.html, got, tc.want)
		}
	}
}
