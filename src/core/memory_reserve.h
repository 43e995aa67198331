// For a program, not for the library: what it does when memory runs out.
#pragma once

namespace endgrade {

// Sets some memory aside, again if it was used up. When `new` finds none it is given back to the
// heap, once: what unwinds then, and cannot fail, has some. A JSON value's destructor takes memory,
// and so does a step of the standard library's through a folder; both end the program without.
void KeepMemoryReserve();

}  // namespace endgrade
