"""From a section to nested triangle meshes.

In: a `Section`.  Out: a `CoarseMesh` (boundary-layer grids about the edges, an unstructured region
elsewhere, every triangle with a smooth map), its subdivisions, its image on a neighbouring section
(`morph`) and an order of elimination.
"""
