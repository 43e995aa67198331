// Where the command keeps its pictures.
#pragma once

#include <cstddef>

namespace endgrade::cli {

// Asks for memory to be had from one place for all threads, in huge pages where there are any, and
// kept from picture to picture: a picture's maps are tens of megabytes, and getting them from the
// kernel page by page, for each picture anew, takes a fifth of the time of grading it. Takes no
// memory itself. Call it before there is a second thread; where the system has no such thing, all
// stays as it is.
void PreparePictureMemory();

// To be called when a picture of a run is done, with how many are: after every fiftieth, what no
// picture uses at the moment goes back to the system, which takes about a millisecond. A heap fills
// out slowly, as each picture falls a little differently between what is kept; so a run of ten
// thousand is held to the memory of one of a hundred.
void TidyPictureMemory(std::size_t pictures_done);

}  // namespace endgrade::cli
