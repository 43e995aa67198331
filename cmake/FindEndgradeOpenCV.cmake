# Targets opencv_core and opencv_imgproc, of OpenCV 4.5 or later.
#
# OpenCV's own configuration, where it is installed, wins. On Debian that is libopencv-dev, which
# brings more than 400 packages; libopencv-core-dev and libopencv-imgproc-dev hold all that we need
# and no configuration, so their files are looked for here.
find_package(OpenCV 4.5 QUIET COMPONENTS core imgproc)
if(OpenCV_FOUND)
  set(EndgradeOpenCV_VERSION ${OpenCV_VERSION})
else()
  find_path(EndgradeOpenCV_INCLUDE_DIR opencv2/core/version.hpp PATH_SUFFIXES opencv4)
  mark_as_advanced(EndgradeOpenCV_INCLUDE_DIR)
  foreach(module core imgproc)
    find_library(EndgradeOpenCV_${module}_LIBRARY opencv_${module})
    mark_as_advanced(EndgradeOpenCV_${module}_LIBRARY)
    if(EndgradeOpenCV_INCLUDE_DIR AND EndgradeOpenCV_${module}_LIBRARY
       AND NOT TARGET opencv_${module})
      add_library(opencv_${module} UNKNOWN IMPORTED)
      set_target_properties(opencv_${module} PROPERTIES
        IMPORTED_LOCATION ${EndgradeOpenCV_${module}_LIBRARY}
        INTERFACE_INCLUDE_DIRECTORIES ${EndgradeOpenCV_INCLUDE_DIR})
    endif()
  endforeach()
  if(TARGET opencv_core AND TARGET opencv_imgproc)
    set_property(TARGET opencv_imgproc APPEND PROPERTY INTERFACE_LINK_LIBRARIES opencv_core)
  endif()
  if(EndgradeOpenCV_INCLUDE_DIR)
    file(STRINGS ${EndgradeOpenCV_INCLUDE_DIR}/opencv2/core/version.hpp version_lines
         REGEX "define CV_VERSION_(MAJOR|MINOR|REVISION) +[0-9]+")
    string(REGEX MATCHALL "[0-9]+" version_numbers "${version_lines}")
    list(JOIN version_numbers "." EndgradeOpenCV_VERSION)
  endif()
endif()

include(FindPackageHandleStandardArgs)
if(OpenCV_FOUND)
  find_package_handle_standard_args(EndgradeOpenCV REQUIRED_VARS OpenCV_FOUND
                                    VERSION_VAR EndgradeOpenCV_VERSION)
else()
  find_package_handle_standard_args(EndgradeOpenCV
    REQUIRED_VARS EndgradeOpenCV_core_LIBRARY EndgradeOpenCV_imgproc_LIBRARY
                  EndgradeOpenCV_INCLUDE_DIR
    VERSION_VAR EndgradeOpenCV_VERSION)
endif()
