//! Stage 9. In: pictures at the events, the body's points in them, the result. Out:
//! annotated pictures.
