// Rows or columns that the camera's own electronics make a little brighter or darker than their
// neighbours, over the whole picture.
#pragma once

#include "endgrade/flatten.h"

namespace endgrade {

// Where rows (or columns) differ from one another by more than noise explains, nearly all of them,
// moves each one's own offset from the residual to the background. Told on the glass, where the
// face itself is smoothest; one row alone may be a scratch, and stays: no offset is believed to be
// more than three times the usual one.
//
//   map   residual, background, radius, cladding radius and glass noise filled
//   returns whether anything was moved
bool TakeOffBanding(ContrastMap* map);

}  // namespace endgrade
