// Where the command keeps its pictures.
#pragma once

namespace endgrade::cli {

// Asks for memory to be had from one place for all threads, in huge pages where there are any, and
// kept from picture to picture: a picture's maps are tens of megabytes, and getting them from the
// kernel page by page, for each picture anew, takes a fifth of the time of grading it. Takes no
// memory itself. Call it before there is a second thread; where the system has no such thing, all
// stays as it is.
void PreparePictureMemory();

}  // namespace endgrade::cli
