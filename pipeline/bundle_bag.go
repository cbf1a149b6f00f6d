package pipeline

import (
	"context"
	"fmt"
	"strings"

	"tonocohort/schema"
)

// bag writes the results as a bag by RFC 8493 (BagIt 1.0): what is handed on
// stands below data/, and manifest-sha256.txt lists it, so that
// "sha256sum -c manifest-sha256.txt" needs nothing of ours.
func (b *bundle) bag(ctx context.Context) error {
	payload, err := b.copyAll(ctx, "data")
	if err != nil {
		return err
	}
	var tags []schema.File
	for _, tag := range []struct{ name, text string }{
		{"bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"},
		{"bag-info.txt", b.bagInfo(payload)},
		{"manifest-sha256.txt", checksums(payload)},
	} {
		f, err := b.writeText(tag.name, tag.text)
		if err != nil {
			return err
		}
		tags = append(tags, f)
	}
	_, err = b.writeText("tagmanifest-sha256.txt", checksums(tags))
	return err
}

// checksums lists files as sha256sum does: digest, two blanks, path. RFC 8493
// wants CR, LF and % in a path percent-encoded.
func checksums(files []schema.File) string {
	var text strings.Builder
	for _, f := range files {
		fmt.Fprintf(&text, "%s  %s\n", f.SHA256, strings.NewReplacer("%", "%25", "\r", "%0D", "\n", "%0A").Replace(f.Path))
	}
	return text.String()
}

// bagInfo says what is known of the bag; what is not known is left out.
func (b *bundle) bagInfo(payload []schema.File) string {
	bytes := int64(0)
	for _, f := range payload {
		bytes += f.Bytes
	}
	var text strings.Builder
	line := func(label, value string) {
		if value != "" {
			fmt.Fprintf(&text, "%s: %s\n", label, strings.Join(strings.Fields(value), " "))
		}
	}
	line("External-Identifier", b.manifest.Study.ID)
	line("External-Description", b.title()+". "+b.manifest.Caution)
	line("Bagging-Date", b.day())
	line("Payload-Oxum", fmt.Sprintf("%d.%d", bytes, len(payload)))
	line("Bag-Software-Agent", buildText(b.manifest.Build))
	line("Internal-Sender-Identifier", "manifest content "+b.manifest.Content)
	line("License", b.options.License)
	return text.String()
}
