"""Document to Spec: libraries and families written out, units checked, names bound; one entry for both sides."""
