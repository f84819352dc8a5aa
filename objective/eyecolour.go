package objective

// EyeRefractionD is the eye's chromatic difference of refraction in dioptres: of an eye that
// sees far points sharply at 589.9 nm, the vergence of light of another wavelength that it
// sees sharply, negative where the light has to come from nearer. By
//
//	1.68524 - 0.63346/(λ - 0.21410), λ in µm
//
// (L. N. Thibos, M. Ye, X. Zhang, A. Bradley, Appl. Opt. 31, 3594, 1992, from memory), which holds
// for visible light.
func EyeRefractionD(wavelengthNM float64) float64 {
	return 1.68524 - 0.63346/(wavelengthNM/1000-0.21410)
}

// EyeColour is by how much the eye's refraction at wavelength i differs from that at the reference,
// in 1/mm; 0 where its colour is left out.
func (p *Problem) EyeColour(i int) float64 {
	if !p.ColouredEye || i == p.Reference() {
		return 0
	}
	return (EyeRefractionD(p.WavelengthsNM[i]) - EyeRefractionD(p.WavelengthsNM[p.Reference()])) / 1000
}
