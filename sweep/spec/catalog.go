package spec

import "relaysweep/catalog"

// LensFiles are the lens tables of the spec, found from the spec file's folder
// and shown as the spec names them.
func (s *Spec) LensFiles() []catalog.File { return s.tables(s.Catalog.Files) }

// GlassFiles are the glass tables of the spec, likewise.
func (s *Spec) GlassFiles() []catalog.File { return s.tables(s.Catalog.Glasses) }

// OwnedFile is the table of the pieces that are there already, nil for none.
func (s *Spec) OwnedFile() *catalog.File {
	if s.Catalog.Owned == "" {
		return nil
	}
	return &s.tables([]string{s.Catalog.Owned})[0]
}

func (s *Spec) tables(names []string) []catalog.File {
	files := make([]catalog.File, len(names))
	for i, name := range names {
		files[i] = catalog.File{Path: s.resolve(name), Shown: name}
	}
	return files
}

// CatalogFilter is the choice of lenses that the spec makes.
func (s *Spec) CatalogFilter() catalog.Filter {
	return catalog.Filter{
		ExcludeKinds:     s.Catalog.ExcludeKinds,
		ExcludeParts:     s.Catalog.ExcludeParts,
		DiameterMaxMM:    s.Catalog.DiameterMaxMM,
		PriceMax:         s.Catalog.PriceMax,
		FocalMinMM:       s.Catalog.FocalMinMM,
		FocalMaxMM:       s.Catalog.FocalMaxMM,
		ApertureRatioMax: s.Catalog.ApertureRatioMax,
	}
}
