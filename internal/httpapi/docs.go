package httpapi

import (
	"cmp"
	"embed"
	"io/fs"
	"path"
	"sync"

	"github.com/labstack/echo/v4"
)

//go:embed docs/docs.html
var docsPage []byte

// docs is what the page loads. swagger-ui are files of the npm package
// swagger-ui-dist, which renders the contract, as docs/vendor.sh fetches them.
//
//go:embed docs/docs.css docs/docs.js docs/swagger-ui
var docs embed.FS

// Content security policies keep pages to what this service serves. Swagger UI brings
// its icons as data URLs and sets style attributes.
const (
	pagePolicy = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
	docsPolicy = pagePolicy + "script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; connect-src 'self'"
)

const mimeHTML = "text/html; charset=utf-8"

// docsFile is an embedded file with its entity tag.
type docsFile struct {
	mediaType, tag string
	body           []byte
}

// docsFiles are the files of docs by name, without their directories.
var docsFiles = sync.OnceValue(func() map[string]docsFile {
	mediaTypes := map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}
	files := map[string]docsFile{}
	err := fs.WalkDir(docs, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		body, err := docs.ReadFile(name)
		files[path.Base(name)] = docsFile{cmp.Or(mediaTypes[path.Ext(name)], "text/plain; charset=utf-8"), hashOf(body), body} // the rest are licences
		return err
	})
	if err != nil {
		panic(err) // what is embedded can be read
	}
	return files
})

// GetDocs serves GET /docs.
func (s *server) GetDocs(c echo.Context) error {
	c.Response().Header().Set(echo.HeaderContentSecurityPolicy, docsPolicy)
	return writeTagged(c, mimeHTML, hashOf(docsPage), docsPage)
}

// GetDocsFile serves GET /docs/{file}.
func (s *server) GetDocsFile(c echo.Context, name string) error {
	file, ok := docsFiles()[name]
	if !ok {
		return echo.ErrNotFound
	}
	return writeTagged(c, file.mediaType, file.tag, file.body)
}
