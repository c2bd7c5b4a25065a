"""What a sensor and a bow are like, from recordings made on a kitchen table: still poses, faces, mount, swings.

Pure: cells of motion in sensor axes in, frozen results with uncertainties out; the commands read and write the files.
"""
