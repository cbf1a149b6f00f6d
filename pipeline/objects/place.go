//go:build objectstore

package objects

import (
	"cmp"
	"errors"
	"net/url"
	"os"
)

// told are the parameters of a URL that tell where a bucket is, or how anyone asks for
// it, by scheme, and the variables of the environment that stand for them where the
// URL lacks them. Any other parameter is about the one who asks.
var told = map[string]map[string][]string{
	"s3": {"region": {"AWS_REGION", "AWS_DEFAULT_REGION"}, "endpoint": {"AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL"},
		"use_path_style": nil, "s3ForcePathStyle": nil, "hostname_immutable": nil, "disable_https": nil, "anonymous": nil},
	"gs":     {"universe_domain": nil, "anonymous": nil},
	"azblob": {"storage_account": {"AZURE_STORAGE_ACCOUNT"}, "domain": {"AZURE_STORAGE_DOMAIN"}, "protocol": nil, "localemu": nil},
}

// Place is the URL by which others find a bucket: without credentials, and of a
// folder of this machine without its path.
func Place(text string) (string, error) {
	given, err := url.Parse(text)
	if err != nil {
		// What url.Error quotes is the URL, in which a password may stand.
		return "", errors.New("it is not a URL, as s3://BUCKET?region=REGION&prefix=FOLDER/")
	}
	place, query := url.URL{Scheme: given.Scheme, Host: given.Host}, url.Values{}
	keep := func(name string, variables ...string) {
		value := given.Query().Get(name)
		for _, v := range variables {
			value = cmp.Or(value, os.Getenv(v))
		}
		if name == "endpoint" {
			value = withoutUser(value)
		}
		if value != "" {
			query.Set(name, value)
		}
	}
	keep("prefix")
	for name, variables := range told[given.Scheme] {
		keep(name, variables...)
	}
	place.RawQuery = query.Encode()
	text = place.String()
	if place.Host == "" {
		text = place.Scheme + "://" + text[len(place.Scheme)+1:]
	}
	return text, nil
}

// withoutUser takes name and password out of the address of a service.
func withoutUser(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	return (&url.URL{Scheme: u.Scheme, Host: u.Host, Path: u.Path, Opaque: u.Opaque}).String()
}
