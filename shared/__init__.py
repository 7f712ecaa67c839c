"""What all parts of brimcast use, in reading order.

errors      the person's mistakes with their place, and the engine's refusals
quantity    "1.8 m", "f/11", "10 o'clock" -> numbers, and back
bands       the wavelength grid, the 16 bands, the choice of wavelengths
tables      published tables in ``data/``, read and put on the grid
observer    the CIE 1931 2 degree observer, luminous values
spectra     glowing bodies, daylight, single lines
colour      XYZ, white, sRGB, Lab, colour difference, colour temperature
exposure    meter, sensor, f-numbers, close-up loss, depth of field

Nothing is imported here; import the module that you need.
"""
