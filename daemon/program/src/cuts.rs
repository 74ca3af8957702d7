//! What is cut, in order: the list of cuts as the program means it, as polylines on the sheet, joined
//! where it is cut in pieces, and moved aside by half the kerf where the program asks for that.

pub(crate) mod compensation;
pub(crate) mod cut_list;
pub(crate) mod join;
pub(crate) mod polylines;
