"""The physics of a point colour sensor, from light to counts. Pure functions on arrays: no files and no library of colour.

Spectra are float64 arrays whose last axis is the grid 380..780 nm in 5 nm (N = 81); B bands; n samples; lengths in mm, angles in
degrees, times in ns. What a user can state wrongly raises `UsageError` (wrong-value) with a sentence that names it. Illuminants
and observers as arrays on the grid come from `signals.colour_science.illuminant_spectrum` and `observer_curves`.

    spectra      GRID, grid(step_nm) -> (N,)
                 resampled(wavelength_nm, values, what, onto=GRID, *, at_most=None) -> (N,)    a measured spectrum
                 checked(values, what, wavelengths=GRID, *, at_most=None) -> (..., N)
                 tristimulus(reflectance (..., N), illuminant (N,), observer (3, N)) -> (..., 3)   Y = 100 for white
                 white_of(illuminant, observer) -> (3,) · chromaticity(xyz) -> (..., 2)
                 weighting(illuminant, observer) -> (3, N)
    light        Led(peak_nm, width_nm, level, shift_nm_per_k, output_per_k, decay_per_h)
                 led(peak_nm, width_nm) -> (N,) · light_of(leds, *, kelvin, hours) -> (N,)
                 output_at(kelvin, output_per_k) · lumen_maintenance(hours, decay_per_h) · decay_from_life(hours, share_left)
    recovery     reflectance_of(xyz, illuminant, observer, what) -> (N,)          a smooth reflectance of that colour
                 lab_directions(reflectance, illuminant, observer) -> (3, N)      add dL, da, db of a specimen
    fresnel      reflectance(cos, n) · polarised(cos, n) -> s, p · diffuse_reflectance(n) · cos_refracted(cos, n)
    surface      surface(matt, what, *, index, roughness, mirror, fluorescent) -> Surface · dusty(surface, dust, covered)
                 lobe(cos_in, cos_out, cos_half, roughness) · matt_factor(cos_in, cos_out, index)
    film         film(inner, what, *, index, roughness, contact) -> Film · covered(under, film, cos_in, cos_out) -> Surface
                 of_thickness(inner, times) · inner_from_measured(total, index)
                 sheet(inner, index, cos) -> T, R · over_mirror(film, backing, cos) · over_matt(film, backing, cos_in, cos_out)
    geometry     Head(standoff_mm, spot_mm, light_deg, view_deg, light_half_deg, view_half_deg, depth_of_focus_mm)
                 factors(head, surface, *, slope_x, slope_y, nearer_mm) -> Factors(matt, gloss, mirror, cover), elementwise
                 over(head, surface, Cylinder(radius_mm) | Rib(width_mm, height_mm, flank_deg, lean_deg), centre_mm,
                      *, along, slope_x, slope_y, nearer_mm) -> Factors
                 slope(tilt_deg) · distance_factor(head, nearer_mm)
    spot         strip(centre_mm, begin_mm, end_mm, spot_mm, travel_mm) -> share of the spot on a target
                 covered(edge_mm, spot_mm) · covered_while_moving(edge_mm, spot_mm, travel_mm) · skewed(edge_mm, skew_deg)
                 texture_left(patch_mm, spot_mm) · texture(seed, stream, along_mm, patch_mm, spot_mm) -> (n,)
    chain        band_gains(light, responses (B, N), *, white_level, balanced) -> (B,)
                 band_weights(light, responses, gains) -> (N, B)
                 surface_sums(surface, weights) -> BandSums(matt, gloss, mirror) · band_sums(spectra (P, N), weights) -> (P, B)
                 levels([(BandSums, Factors, share)], ambient=[(sums, amount)]) -> list of (n,), one a band
                 scaled_to(ambient, light, share) -> (N,)
    detector     gaussian_bands(peaks_nm, widths_nm) -> (B, N) · unit_of(peaks, gains, *, peak_sd_nm, gain_sd, seed, unit)
                 Detector(bits, electrons, dark, read_noise, samples)
                 counts(levels, detector, *, seed, stream, cell) -> list of (n,)
                 noisy(level, detector, band, ...) · converted(level, detector, band) · moving_mean(values, window)
                 ambient(t_ns, *, frequency_hz, depth, rejection, exposure_ns, phase) -> (n,)
    noise        normals_at(seed, stream, first, count) · uniforms_at(...) · normals(seed, stream, cell, count) · generator(...)
    band_sensors from_centres(centres_nm, illuminant, observer) -> (3, B)
                 from_responses(responses, light, illuminant, observer, *, correlation_nm) -> (3, B)
"""
